package lab

import (
	"math"
	"strings"
)

// Fold is the form in which typed names are compared: small letters, single
// spaces, none at the ends. "Front  Left" and "front left" are one location.
func Fold(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }

// MillimetresPerSecond rounds a speed, so that 5.5 typed and 5.5 computed are
// one cell. What is no speed (negative, not finite, beyond 4000 km/s) is the
// largest value.
func MillimetresPerSecond(metresPerSecond float64) uint32 {
	v := math.Round(metresPerSecond * 1000)
	if !(v >= 0 && v < math.MaxUint32) {
		return math.MaxUint32
	}
	return uint32(v)
}

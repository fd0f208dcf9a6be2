package page

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// Number is a quantity ready to be shown. Text carries no unit; Unit stands
// beside it or in the column's head. A missing number has an empty Text and a
// reason.
type Number struct {
	Text        string // "98.1", with U+2212 as minus
	Unit        string // "g"; empty for a pure number
	Uncertainty string // expanded, in the same unit, as "2.4"; empty when unknown
	Missing     string // why there is no Text, as "no angular channels"
}

// Missing is a number that is not there, and why.
func Missing(reason string) Number { return Number{Missing: reason} }

// Show formats v for the screen with the digits its unit is shown with
// everywhere. What is not finite comes back as missing.
func Show(v float64, unit string) Number {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Number{Unit: unit, Missing: "could not be computed"}
	}
	return Number{Text: decimal(v, digits(unit)), Unit: display(unit)}
}

// ShowUncertain is Show with an expanded uncertainty in the same unit. The
// uncertainty is rounded to two significant digits and the value to the same
// decimal place (JCGM 100:2008, 7.2.6), with at most six decimals: what would
// vanish there is rounded up.
func ShowUncertain(v, expanded float64, unit string) Number {
	n := Show(v, unit)
	if n.Text == "" || math.IsNaN(expanded) || math.IsInf(expanded, 0) || !(expanded > 0) {
		return n
	}
	d := 1 - int(math.Floor(math.Log10(expanded)))
	if math.Round(expanded*math.Pow10(d)) >= 100 { // 0.996 becomes 1.0
		d--
	}
	d = min(d, mostDecimals)
	n.Text, n.Uncertainty = rounded(v, d), rounded(max(expanded, math.Pow10(-d)), d)
	return n
}

const mostDecimals = 6

// rounded writes v with d decimals; a negative d rounds to tens, hundreds …
func rounded(v float64, d int) string {
	if d < 0 {
		unit := math.Pow10(-d)
		return decimal(math.Round(v/unit)*unit, 0)
	}
	return decimal(v, d)
}

// ShowWhole is Show rounded to a whole number, for counts and times that nobody
// takes finer.
func ShowWhole(v float64, unit string) Number {
	n := Show(v, unit)
	if n.Text != "" {
		n.Text = decimal(v, 0)
	}
	return n
}

// ShowCount formats a whole number with thin spaces between groups of three.
func ShowCount(n int64) string {
	s := strconv.FormatInt(n, 10)
	neg := strings.HasPrefix(s, "-")
	s = strings.TrimPrefix(s, "-")
	var b strings.Builder
	for i, r := range s {
		if i > 0 && (len(s)-i)%3 == 0 {
			b.WriteRune('\u202f')
		}
		b.WriteRune(r)
	}
	if neg {
		return "\u2212" + b.String()
	}
	return b.String()
}

// ShowBytes formats a size in decimal multiples, as "1.4 MB".
func ShowBytes(n int64) string {
	units := []string{"B", "kB", "MB", "GB", "TB"}
	v, i := float64(n), 0
	for math.Abs(v) >= 999.5 && i < len(units)-1 {
		v, i = v/1000, i+1
	}
	d := 0
	if i > 0 && math.Abs(v) < 99.95 {
		d = 1
	}
	return decimal(v, d) + "\u00a0" + units[i]
}

// ShowAge puts a duration in words, in one unit, rounded down: "18 min",
// "3 h", "12 days". Negative durations (a clock ahead) count as nothing.
func ShowAge(d time.Duration) string {
	switch {
	case d < time.Second:
		return "a moment"
	case d < time.Minute:
		return strconv.Itoa(int(d/time.Second)) + "\u00a0s"
	case d < time.Hour:
		return strconv.Itoa(int(d/time.Minute)) + "\u00a0min"
	case d < 48*time.Hour:
		return strconv.Itoa(int(d/time.Hour)) + "\u00a0h"
	default:
		return ShowCount(int64(d/(24*time.Hour))) + "\u00a0days"
	}
}

// decimal writes v with d places, U+2212 as minus, and never "-0".
func decimal(v float64, d int) string {
	s := strconv.FormatFloat(v, 'f', d, 64)
	if strings.HasPrefix(s, "-") {
		if strings.Trim(s, "-0.") == "" {
			return s[1:]
		}
		return "\u2212" + s[1:]
	}
	return s
}

// digits is the number of decimal places a unit is shown with.
func digits(unit string) int {
	switch unit {
	case "g", "°", "deg", "%", "rad/s", "J", "ms", "kPa", "psi", "mm", "°C", "h":
		return 1
	case "m/s", "km/h", "bar", "ft/s", "g/(m/s)", "kg", "N·m", "g/ms", "×10⁶":
		return 2
	case "s":
		return 4
	case "1", "":
		return 2
	case "HIC", "SI", "rad/s2", "rad/s²", "N", "Hz":
		return 0
	default:
		return 3
	}
}

// display is the unit as the screen writes it.
func display(unit string) string {
	switch unit {
	case "rad/s2":
		return "rad/s²"
	case "m/s2":
		return "m/s²"
	case "deg":
		return "°"
	case "1", "HIC", "SI":
		return ""
	default:
		return unit
	}
}

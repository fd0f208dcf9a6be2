package page

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ParseDecimal reads a number that a person typed, with a point or a comma
// before its decimals. What could be a thousands separator is refused: "1,500"
// is 1500 to one reader and 1.5 to another. The error's text is for the field.
func ParseDecimal(typed string) (float64, error) {
	s := strings.TrimSpace(strings.Replace(typed, "\u2212", "-", 1))
	bad := fmt.Errorf("“%s” is not a number; write it as 5.5", typed)
	if s == "" || strings.Trim(s, "+-0123456789.,eE") != "" {
		return 0, bad
	}
	if whole, decimals, comma := strings.Cut(s, ","); comma {
		switch {
		case strings.ContainsAny(s, "eE."), strings.Contains(decimals, ","):
			return 0, bad
		case len(decimals) == 3 && strings.Trim(whole, "+-0") != "":
			return 0, fmt.Errorf("“%s” can be read in two ways; write %s or %s", typed, whole+decimals, whole+"."+shortened(decimals))
		}
		s = whole + "." + decimals
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, bad
	}
	return v, nil
}

// shortened drops zeros at the end, but not the last digit.
func shortened(decimals string) string {
	if s := strings.TrimRight(decimals, "0"); s != "" {
		return s
	}
	return "0"
}

package limits

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"thudbook/metrics/unit"
)

// Measured is a result that is held against a limit.
type Measured struct {
	Value    float64
	Unit     string
	Expanded *float64 // expanded uncertainty (k = 2), unit of the value; nil: unknown
}

// Verdict is what comes of holding a result against a limit. It compares two
// numbers and certifies nothing.
type Verdict struct {
	Comparable bool    // false: the units do not convert, or a number is not finite; nothing else holds then
	Limit      float64 // in the unit of the result
	Within     bool    // value ≤ limit
	Margin     float64 // limit minus value, unit of the result; negative above it
	Share      float64 // margin over limit; 0 when the limit is 0
	// Close tells that the margin is smaller than the expanded uncertainty: the
	// measurement does not decide on which side of the limit the true value lies
	// (JCGM 106:2012, 8.2 and 8.3, simple acceptance and guard bands; clause numbers
	// not confirmed against print).
	Close bool
	Words string // one sentence
}

// Judge holds a result against a limit by simple acceptance: a value up to and with
// the limit is within.
func Judge(m Measured, l Limit) Verdict {
	most, ok := l.In(m.Unit)
	if !ok {
		return Verdict{Words: fmt.Sprintf("not compared: the result is in %s, the limit in %s", named(m.Unit), named(l.Unit))}
	}
	if !finite(m.Value) || !finite(most) {
		return Verdict{Words: "not compared: a number is not finite"}
	}
	v := Verdict{Comparable: true, Limit: most, Within: m.Value <= most, Margin: most - m.Value}
	if most != 0 {
		v.Share = v.Margin / math.Abs(most)
	}
	side := "above"
	if v.Within {
		side = "within"
	}
	v.Words = fmt.Sprintf("%s the limit by %s", side, quantity(math.Abs(v.Margin), m.Unit))
	if u := m.Expanded; u != nil && finite(*u) && math.Abs(v.Margin) < *u {
		v.Close = true
		v.Words += fmt.Sprintf(", less than the expanded uncertainty of %s", quantity(*u, m.Unit))
	}
	return v
}

// In gives the limit in another unit; ok is false when the units do not convert.
func (l *Limit) In(symbol string) (most float64, ok bool) {
	if plain(symbol) == plain(l.Unit) {
		return l.Most, true
	}
	from, okFrom := unit.Parse(l.Unit)
	to, okTo := unit.Parse(symbol)
	if !okFrom || !okTo {
		return 0, false
	}
	return unit.Convert(l.Most, from, to)
}

// plain makes spellings of one unit equal that package unit does not know.
func plain(symbol string) string {
	return strings.NewReplacer("²", "2", "^", "", " ", "").Replace(symbol)
}

func finite(x float64) bool { return x-x == 0 }

func named(unit string) string {
	if unit == "" {
		return "no unit"
	}
	return unit
}

func quantity(v float64, unit string) string {
	s := strconv.FormatFloat(v, 'g', 3, 64)
	if v >= 1000 {
		s = strconv.FormatFloat(v, 'f', 0, 64)
	}
	if unit == "" {
		return s
	}
	return s + " " + unit
}

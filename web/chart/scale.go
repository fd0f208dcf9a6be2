package chart

import (
	"math"
	"strconv"
	"strings"
)

// scale is an axis: its ends and its ticks.
type scale struct {
	low, high float64
	ticks     []float64
	digits    int
}

// nice makes an axis that holds low and high (and widen says whether it may be
// moved outward to round numbers), with about n ticks at 1, 2 or 5 times a
// power of ten.
func nice(low, high float64, n int, widen bool) scale {
	if !(high > low) {
		pad := math.Max(math.Abs(low)*0.1, 1)
		low, high = low-pad, high+pad
	}
	step := math.Pow(10, math.Floor(math.Log10((high-low)/float64(n))))
	for _, m := range []float64{1, 2, 5, 10} {
		if (high-low)/(m*step) <= float64(n) {
			step *= m
			break
		}
	}
	s := scale{low: low, high: high, digits: max(0, int(-math.Floor(math.Log10(step)+1e-9)))}
	first, last := math.Ceil(low/step-1e-9), math.Floor(high/step+1e-9)
	if widen {
		first, last = math.Floor(low/step+1e-9), math.Ceil(high/step-1e-9)
		s.low, s.high = first*step, last*step
	}
	for k := first; k <= last; k++ {
		s.ticks = append(s.ticks, k*step)
	}
	return s
}

// padded is an axis with room beyond low and high, so that a point there is not
// cut by the frame.
func padded(low, high float64, n int) scale {
	const room = 0.05
	pad := room * (high - low)
	return nice(low-pad, high+pad, n, false)
}

// counting keeps the whole numbers from low to high as ticks.
func (s scale) counting(low, high float64) scale {
	var whole []float64
	for _, v := range s.ticks {
		if r := math.Round(v); math.Abs(r-v) < 1e-6 && r >= low && r <= high {
			whole = append(whole, r)
		}
	}
	if len(whole) == 0 {
		whole = []float64{math.Ceil(low)}
	}
	s.ticks, s.digits = whole, 0
	return s
}

func (s scale) part(v float64) float64 { return (v - s.low) / (s.high - s.low) }

// number writes v with d places, U+2212 as minus, and never "-0".
func number(v float64, d int) string {
	s := strconv.FormatFloat(v, 'f', d, 64)
	if strings.HasPrefix(s, "-") {
		if strings.Trim(s, "-0.") == "" {
			return s[1:]
		}
		return "\u2212" + s[1:]
	}
	return s
}

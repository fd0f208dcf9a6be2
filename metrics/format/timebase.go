package format

import (
	"fmt"
	"math"
	"slices"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format/delimited"
	"thudbook/metrics/unit"
)

// timeBase fills the recording's time from the table or the map's rate.
func (r *reader) timeBase(t *delimited.Table) error {
	rec := &r.out.Recording
	if t.Time == nil {
		rec.RateHz = r.out.Map.Time.RateHz
		return nil
	}
	n := len(t.Time)
	if n < 2 {
		return &fault.Error{Code: fault.NoData, Line: t.TimeLine, What: "the file has one row only, which gives no sample rate", Fix: "check that the acquisition recorded, and export it again"}
	}
	if t.Time[n-1] == t.Time[0] {
		return &fault.Error{Code: fault.TimeColumn, Line: t.TimeLine, Column: r.sel.Time + 1,
			What: fmt.Sprintf("the time stands still: all %d rows are at %g", n, t.Time[0]),
			Fix:  "export times with more digits, or name rate_hz in the channel map"}
	}
	u := r.timeUnit(t.Time)
	if step := u.ToBase((t.Time[n-1] - t.Time[0]) / float64(n-1)); !sane(step) {
		return r.noRate(t, step)
	}
	if start, rate, ok := even(t.Time, t.Decimals, t.Digits, u); ok {
		rec.StartS, rec.RateHz = start, rate
		return nil
	}
	rec.Uneven = true
	rec.TimeS = t.Time
	scale(rec.TimeS, u.Mul, u.Div)
	rec.StartS = rec.TimeS[0]
	step := medianStep(rec.TimeS)
	if !sane(step) {
		return r.noRate(t, step)
	}
	rec.RateHz = 1 / step
	return nil
}

// sane says whether a step in s can be that of a recording: 1 ps to 1000 s.
func sane(step float64) bool { return step >= 1e-12 && step <= 1000 }

func (r *reader) noRate(t *delimited.Table, step float64) error {
	return &fault.Error{Code: fault.TimeColumn, Line: t.TimeLine, Column: r.sel.Time + 1,
		What: fmt.Sprintf("the times step by %.3g s, which is no recording", step),
		Fix:  "check the time column and its unit in the channel map"}
}

// timeUnit is the map's unit, else the file's, else the one that makes the
// steps those of an impact recording.
func (r *reader) timeUnit(t []float64) unit.Unit {
	m := &r.out.Map.Time
	if u, ok := unit.Parse(m.Unit); ok && u.Dimension == unit.Time {
		if in, said := r.fileUnit(r.sel.Time); said && in.Symbol != u.Symbol && !r.out.Guessed {
			r.out.Conflicts = append(r.out.Conflicts, UnitConflict{r.name(chanmap.Channel{Column: m.Column}, r.sel.Time), in.Symbol, u.Symbol})
		}
		return u
	}
	u, ok := r.fileUnit(r.sel.Time)
	if !ok || u.Dimension != unit.Time {
		step := (t[len(t)-1] - t[0]) / float64(len(t)-1)
		symbol := "s"
		switch { // an impact is recorded at 500 samples per second or more
		case step >= 2:
			symbol = "us"
		case step >= 0.002:
			symbol = "ms"
		}
		u, _ = unit.Parse(symbol)
		r.out.Unsure = append(r.out.Unsure, fmt.Sprintf("No unit of time is given; from steps of %.3g, %s is taken.", step, symbol))
	}
	m.Unit = u.Symbol
	return u
}

// medianStep is the median of the steps that are not zero.
func medianStep(t []float64) float64 {
	steps := make([]float64, 0, len(t)-1)
	for i := 1; i < len(t); i++ {
		if s := t[i] - t[i-1]; s > 0 {
			steps = append(steps, s)
		}
	}
	slices.Sort(steps)
	n := len(steps)
	if n == 0 {
		return 0
	}
	if n%2 == 1 {
		return steps[n/2]
	}
	return (steps[n/2-1] + steps[n/2]) / 2
}

// evenStep is how much steps may differ from their mean, relative to it.
const evenStep = 1e-3

// even fits t[i] = start + i/rate to times as printed and says whether they are
// even: the steps differ by no more than a part in a thousand, or the times lie
// as near to a line as printing with so few digits explains. decimals and
// digits are those of delimited.Table. Start is in s, rate in Hz.
func even(t []float64, decimals, digits int, u unit.Unit) (startS, rateHz float64, ok bool) {
	n := len(t)
	res := newPrinted(t, decimals, digits)
	dt := (t[n-1] - t[0]) / float64(n-1)
	coarse := max(res.at(t[0]), res.at(t[n-1])) // of any time: they never decrease
	steps := true
	far := 0.0
	for i, v := range t {
		far = max(far, math.Abs(v-(t[0]+float64(i)*dt)))
		if i > 0 && math.Abs(v-t[i-1]-dt) > evenStep*dt+8e-16*math.Abs(v) {
			steps = false
		}
	}
	bySteps := steps && far <= 0.1*dt
	fitted := dt
	if !bySteps {
		if n < 16 && coarse > 0.05*dt {
			return 0, 0, false // too few rows to tell coarse print from uneven times
		}
		start, slope := line(t)
		fitted = slope
		for i, v := range t {
			if math.Abs(v-(start+float64(i)*fitted)) > 0.75*res.at(v)+evenStep*dt {
				return 0, 0, false
			}
		}
	}
	loose := min(coarse/float64(n-1)/dt, evenStep)
	step, perUnit := nice(fitted, loose)
	// The printed first time is the start unless it does not fit its own print.
	first := t[0]
	for i, v := range t {
		if math.Abs(v-(first+float64(i)*step)) > 0.51*res.at(v)+1e-9*dt {
			first = mean(t, step)
			break
		}
	}
	if perUnit > 0 {
		return u.ToBase(first), u.FromBase(perUnit), true
	}
	return u.ToBase(first), u.Div / (step * u.Mul), true
}

// printed is how finely times are written.
type printed struct {
	fine     float64 // with the most decimals seen
	from     float64 // times of this size on have all their digits before those decimals
	digits   int
	float32s bool
}

func newPrinted(t []float64, decimals, digits int) printed {
	return printed{fine: pow10(-decimals), from: pow10(digits - decimals), digits: digits, float32s: float32s(t)}
}

// at is the distance of neighbouring times that print differently near v.
func (p printed) at(v float64) float64 {
	r := p.fine
	a := math.Abs(v)
	if a >= p.from && p.digits > 0 {
		r = max(r, pow10(int(math.Floor(math.Log10(a)))+1-p.digits))
	}
	if p.float32s {
		r = max(r, a/(1<<23))
	}
	return r
}

func pow10(e int) float64 { return math.Pow(10, float64(e)) }

// float32s says whether all times are single-precision numbers printed in full.
func float32s(t []float64) bool {
	for _, v := range t {
		if math.Abs(v-float64(float32(v))) > 1e-12*math.Abs(v) {
			return false
		}
	}
	return true
}

// line is the least-squares line through (i, t[i]).
func line(t []float64) (start, step float64) {
	n := float64(len(t))
	mid := (n - 1) / 2
	var sum, cross float64
	for i, v := range t {
		sum += v - t[0]
		cross += (float64(i) - mid) * (v - t[0])
	}
	step = cross * 12 / (n * (n*n - 1))
	return t[0] + sum/n - mid*step, step
}

// mean is the start that fits a known step best.
func mean(t []float64, step float64) float64 {
	sum := 0.0
	for i, v := range t {
		sum += v - t[0] - float64(i)*step
	}
	return t[0] + sum/float64(len(t))
}

// nice finds the step, or the rate (per unit of time, else 0), with the fewest
// digits within the relative tolerance: steps of 0.00005 are 20 000 per second,
// not 20 000.000000000004.
func nice(step, tolerance float64) (rounded, rate float64) {
	for _, tol := range []float64{1e-9, tolerance} {
		for digits := 1; digits <= 6; digits++ {
			if r := significant(1/step, digits); math.Abs(r*step-1) <= tol {
				return 1 / r, r
			}
			if s := significant(step, digits); math.Abs(s/step-1) <= tol {
				if r := significant(1/s, 6); math.Abs(r*s-1) <= 1e-12 {
					return s, r // a step of 0.00004 is a rate of 25 000
				}
				return s, 0
			}
		}
	}
	return step, 0
}

// significant rounds v > 0 to so many significant digits.
func significant(v float64, digits int) float64 {
	e := digits - 1 - int(math.Floor(math.Log10(v)))
	if e >= 0 {
		p := pow10(e)
		return math.Round(v*p) / p
	}
	p := pow10(-e)
	return math.Round(v/p) * p
}

package gum

import "math"

// Vector is a signal of one to three orthogonal components and their resultant.
type Vector struct {
	Axes      [][]float64 // the components
	Magnitude []float64   // their resultant
	TimeS     []float64   // of each sample; nil: even, RateHz a second
	RateHz    float64
}

// weight is the time in seconds that sample i stands for in a trapezoid integral
// from sample first to sample last.
func (v *Vector) weight(i, first, last int) float64 {
	if v.TimeS == nil {
		if i == first || i == last {
			return 0.5 / v.RateHz
		}
		return 1 / v.RateHz
	}
	return (v.TimeS[min(i+1, last)] - v.TimeS[max(i-1, first)]) / 2
}

// span is the time between two samples in seconds.
func (v *Vector) span(first, last int) float64 {
	if v.TimeS == nil {
		return float64(last-first) / v.RateHz
	}
	return v.TimeS[last] - v.TimeS[first]
}

// add puts in what sample i does to a result that has the derivative w to the
// resultant there: the resultant changes by a[k]/r for a change of component k.
func (e *Effect) add(v *Vector, i int, w float64) {
	r := v.Magnitude[i]
	if r == 0 {
		return
	}
	w /= r
	var a [3]float64
	for k, x := range v.Axes {
		a[k] = x[i]
	}
	for k := range v.Axes {
		wa := w * a[k]
		e.Offset[k] += wa
		e.White[k] += wa * wa
		e.Share[k][0] += wa * a[0]
		e.Share[k][1] += wa * a[1]
		e.Share[k][2] += wa * a[2]
	}
}

// root ends a sum over samples.
func (e *Effect) root() {
	for k := range e.White {
		e.White[k] = math.Sqrt(e.White[k])
	}
}

// Sample is the effect on the resultant at sample i, as for a peak. Its time base
// is 0: a value does not depend on the clock.
func (v *Vector) Sample(i int) Effect {
	e := Effect{Components: len(v.Axes)}
	e.add(v, i, 1)
	e.Noise, e.White = e.Offset, [3]float64{}
	return e
}

// SeverityIndex is the effect on ∫ a^2.5 dt from sample first to sample last.
func (v *Vector) SeverityIndex(first, last int) Effect {
	e := Effect{Components: len(v.Axes)}
	if last <= first {
		return e
	}
	for i := first; i <= last; i++ {
		m := v.Magnitude[i]
		w := v.weight(i, first, last)
		power := m * math.Sqrt(m)
		e.add(v, i, 2.5*power*w)
		e.TimeBase += power * m * w
	}
	e.root()
	return e
}

// HIC is the effect on a head injury criterion whose window runs from sample first
// to sample last. The window is the best one, so a small shift of it changes the
// value in second order only and is left out; where the longest window allowed is
// the best, the effect of the time base is smaller than given here.
func (v *Vector) HIC(first, last int) Effect {
	e := Effect{Components: len(v.Axes)}
	if last <= first || !(v.span(first, last) > 0) {
		return e
	}
	span, integral := v.span(first, last), 0.0
	for i := first; i <= last; i++ {
		integral += v.Magnitude[i] * v.weight(i, first, last)
	}
	mean := integral / span
	power := mean * math.Sqrt(mean)
	for i := first; i <= last; i++ {
		e.add(v, i, 2.5*power*v.weight(i, first, last))
	}
	e.root()
	e.TimeBase = power * mean * span
	return e
}

// Integral is the effect on the length of the vector ∫ a dt from sample first to
// sample last, as of a velocity change; change are its components in the unit of
// the result, and unit is that of the result in units of the samples times seconds.
func (v *Vector) Integral(change [3]float64, first, last int, unit float64) Effect {
	e := Effect{Components: len(v.Axes)}
	length := Combine(change[:]...)
	if length == 0 || last <= first {
		return e
	}
	span := v.span(first, last)
	step := span / math.Sqrt(float64(last-first)) // root of the sum of squares of the steps
	for k := range v.Axes {
		direction := change[k] / length
		for j := range v.Axes {
			e.Share[k][j] = direction * change[j]
		}
		e.Offset[k] = direction * unit * span
		e.White[k] = math.Abs(direction) * unit * step
	}
	e.TimeBase = length
	return e
}

// Point is a place in the cell from a sample to the next; Fraction is 0 to 1.
type Point struct {
	Sample   int
	Fraction float64
}

// Held is the effect on a level that the resultant meets at two points a fixed time
// apart, as the 3 ms clip: value and slope of the resultant differ between the
// points, and the interval gives way.
func (v *Vector) Held(from, to Point) Effect {
	e := Effect{Components: len(v.Axes)}
	a, b := 0.5, 0.5
	if slopeFrom, slopeTo := v.slope(from.Sample), v.slope(to.Sample); slopeFrom-slopeTo > 0 {
		b = slopeFrom / (slopeFrom - slopeTo)
		a = 1 - b
		if slopeFrom > 0 && slopeTo < 0 { // a longer time is held at a lower level
			e.TimeBase = (v.at(to) - v.at(from)) / (1/slopeFrom - 1/slopeTo)
		}
	}
	v.interpolate(&e, from, a)
	v.interpolate(&e, to, b)
	e.root()
	e.Noise, e.White = e.White, [3]float64{} // noise counts after the filter here
	return e
}

// interpolate adds the effect on the resultant at a point, times w.
func (v *Vector) interpolate(e *Effect, p Point, w float64) {
	if p.Sample+1 >= len(v.Magnitude) {
		e.add(v, p.Sample, w)
		return
	}
	e.add(v, p.Sample, w*(1-p.Fraction))
	e.add(v, p.Sample+1, w*p.Fraction)
}

// slope is the rise of the resultant in a second over the cell behind a sample.
func (v *Vector) slope(i int) float64 {
	if i+1 >= len(v.Magnitude) {
		return 0
	}
	return (v.Magnitude[i+1] - v.Magnitude[i]) / v.span(i, i+1)
}

// at is the time of a point, from sample 0 on for an even record.
func (v *Vector) at(p Point) float64 {
	t := v.span(0, p.Sample)
	if p.Sample+1 < len(v.Magnitude) {
		t += p.Fraction * v.span(p.Sample, p.Sample+1)
	}
	return t
}

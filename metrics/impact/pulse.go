package impact

// Pulse is the part of a resultant around its peak, between the crossings of a
// threshold.
type Pulse struct {
	Peak, First, Last int     // First: last sample ≤ threshold before the peak; Last: first one after it
	StartS, EndS      float64 // the interpolated crossings
	Began             bool    // false: the record starts above the threshold, First is sample 0
	Returned          bool    // false: the record ends above the threshold, Last is the last sample
}

// FindPulse finds the pulse around the largest value; ok is false when nothing
// exceeds the threshold.
//
// The severity index of helmet specifications runs from the 4 g crossing before
// the peak to the one after it, so that the rebound does not count (rule from
// memory, not confirmed against print). A second lobe behind a dip below the
// threshold does not count either.
func FindPulse(t Trace, threshold float64) (p Pulse, ok bool) {
	peak, at := Peak(t.Values)
	if at < 0 || !(peak > threshold) {
		return Pulse{}, false
	}
	v, n := t.Values, len(t.Values)
	first := at
	for first >= 0 && v[first] > threshold {
		first--
	}
	last := at
	for last < n && v[last] > threshold {
		last++
	}
	p = Pulse{Peak: at, First: max(first, 0), Last: min(last, n-1), Began: first >= 0, Returned: last < n}
	p.StartS, p.EndS = t.At(p.First), t.At(p.Last)
	if p.Began {
		p.StartS += t.step(first) * (threshold - v[first]) / (v[first+1] - v[first])
	}
	if p.Returned {
		p.EndS = t.At(last-1) + t.step(last-1)*(v[last-1]-threshold)/(v[last-1]-v[last])
	}
	return p, true
}

// SeverityIndex is ∫ a^2.5 dt in seconds (a in g) by the trapezoid rule from
// sample first to sample last: Gadd 1966, SAE 660793; the limits are onset and
// end of the impact (Chou and Nyquist 1974, SAE 740082).
func SeverityIndex(t Trace, first, last int) float64 {
	v := t.Values
	if last <= first {
		return 0
	}
	sum := 0.0
	if t.TimeS == nil {
		for _, x := range v[first+1 : last] {
			sum += power25(x)
		}
		return (sum + (power25(v[first])+power25(v[last]))/2) / t.RateHz
	}
	for i := first; i < last; i++ {
		sum += (t.TimeS[i+1] - t.TimeS[i]) * (power25(v[i]) + power25(v[i+1])) / 2
	}
	return sum
}

// Dwell is the total time in seconds above a level, crossings interpolated: the
// form of 49 CFR 571.218 S5.1 (b) and (c), its levels 200 g and 150 g not
// confirmed against print.
func Dwell(t Trace, level float64) float64 {
	v, total := t.Values, 0.0
	for i := 0; i+1 < len(v); i++ {
		a, b := v[i], v[i+1]
		switch {
		case a <= level && b <= level:
		case a > level && b > level:
			total += t.step(i)
		case a > level:
			total += t.step(i) * (a - level) / (a - b)
		default:
			total += t.step(i) * (b - level) / (b - a)
		}
	}
	return total
}

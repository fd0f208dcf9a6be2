// Package impact computes the metrics of one impact from filtered signals of a
// head form: peaks, severity index, HIC, clip, dwell, and the rotational ones.
//
// Linear acceleration is in g, angular velocity in rad/s, angular acceleration in
// rad/s², time in seconds. The functions trust their input: values are finite and
// slices of one trace have one length; a violated length panics.
package impact

import "math"

// Trace is one signal over its time base.
type Trace struct {
	TimeS  []float64 // strictly increasing; nil: sample i is at StartS + i/RateHz
	StartS float64
	RateHz float64
	Values []float64
}

// At is the time of sample i in seconds.
func (t *Trace) At(i int) float64 {
	if t.TimeS != nil {
		return t.TimeS[i]
	}
	return t.StartS + float64(i)/t.RateHz
}

// step is the time from sample i to the next.
func (t *Trace) step(i int) float64 {
	if t.TimeS != nil {
		return t.TimeS[i+1] - t.TimeS[i]
	}
	return 1 / t.RateHz
}

// at interpolates the value at a time inside the cell from sample i to the next.
func (t *Trace) at(i int, timeS float64) float64 {
	a := t.Values[i]
	if i+1 >= len(t.Values) {
		return a
	}
	return a + (t.Values[i+1]-a)*(timeS-t.At(i))/t.step(i)
}

// Peak is the largest value and its first index; −1 for an empty trace.
func Peak(values []float64) (peak float64, index int) {
	index = -1
	peak = math.Inf(-1)
	for i, v := range values {
		if v > peak {
			peak, index = v, i
		}
	}
	if index < 0 {
		return 0, -1
	}
	return peak, index
}

// PeakAbs is the largest magnitude and its first index; −1 for an empty trace.
func PeakAbs(values []float64) (peak float64, index int) {
	peak, index = -1, -1
	for i, v := range values {
		if v = math.Abs(v); v > peak {
			peak, index = v, i
		}
	}
	if index < 0 {
		return 0, -1
	}
	return peak, index
}

// power25 is x^2.5 for x ≥ 0. Products and square root are rounded correctly, so
// it never decreases where x increases: HIC relies on that.
func power25(x float64) float64 { return x * x * math.Sqrt(x) }

package signal

import (
	"fmt"
	"math"
)

// MaxResampled is the largest number of values that Resample makes.
const MaxResampled = 20_000_000

// Resample puts a recording of uneven times on even ones, rateHz a second, from its
// first time on; times must increase strictly (MergeRepeats). r is not changed. It
// returns an error when the rate is not positive or asks for more than MaxResampled
// values; a recording that is even already is returned as it is.
//
// Between samples runs the monotone piecewise cubic of Fritsch and Butland (SIAM J.
// Sci. Stat. Comput. 5 (1984) 300-304), the PCHIP of numerical libraries: it passes
// through every sample, and no value lies outside those of its neighbours, so no peak
// is made up. A sample that is not a number spoils its neighbourhood. It is no
// anti-alias filter: the rate should not be lower than that of the samples.
func (r *Recording) Resample(rateHz float64) (*Recording, error) {
	if !(rateHz > 0) || math.IsInf(rateHz, 1) {
		return nil, fmt.Errorf("no resampling at %g Hz", rateHz)
	}
	n := len(r.TimeS)
	if r.TimeS == nil {
		return r, nil
	}
	if n < 2 {
		return nil, fmt.Errorf("no resampling of %d samples", n)
	}
	span := (r.TimeS[n-1] - r.TimeS[0]) * rateHz
	if !(span*float64(max(len(r.Channels), 1)) < MaxResampled) {
		return nil, fmt.Errorf("%g Hz would make more than %d values of the record's %g s", rateHz, MaxResampled, r.TimeS[n-1]-r.TimeS[0])
	}
	count := int(math.Floor(span+1e-6)) + 1
	out := &Recording{StartS: r.TimeS[0], RateHz: rateHz, Channels: make([]Channel, len(r.Channels))}
	slopes := make([]float64, n)
	for c, ch := range r.Channels {
		values := make([]float64, count)
		pchip(slopes, r.TimeS, ch.Values)
		cell := 0
		for i := range values {
			t := min(out.At(i), r.TimeS[n-1])
			for cell < n-2 && t > r.TimeS[cell+1] {
				cell++
			}
			values[i] = hermite(t, r.TimeS[cell:cell+2], ch.Values[cell:cell+2], slopes[cell:cell+2])
		}
		ch.Values = values
		out.Channels[c] = ch
	}
	return out, nil
}

// LongestStepS is the longest time between two samples.
func (r *Recording) LongestStepS() float64 {
	if r.TimeS == nil {
		return 1 / r.RateHz
	}
	longest := 0.0
	for i := 1; i < len(r.TimeS); i++ {
		longest = max(longest, r.TimeS[i]-r.TimeS[i-1])
	}
	return longest
}

// hermite is the cubic between two samples with given slopes.
func hermite(at float64, t, v, slope []float64) float64 {
	h := t[1] - t[0]
	s := (at - t[0]) / h
	q := 1 - s
	return q*q*((1+2*s)*v[0]+s*h*slope[0]) + s*s*((1+2*q)*v[1]-q*h*slope[1])
}

// pchip puts the slopes at the samples into m: inside the weighted harmonic mean of
// the slopes on both sides, 0 at an extreme; at the ends that of a parabola, held to
// the shape of the data.
func pchip(m, t, v []float64) {
	n := len(t)
	step := func(i int) (h, slope float64) {
		h = t[i+1] - t[i]
		return h, (v[i+1] - v[i]) / h
	}
	if n == 2 {
		_, m[0] = step(0)
		m[1] = m[0]
		return
	}
	for i := 1; i < n-1; i++ {
		h0, d0 := step(i - 1)
		h1, d1 := step(i)
		if d0*d1 <= 0 {
			m[i] = 0
			continue
		}
		w0, w1 := 2*h1+h0, h1+2*h0
		m[i] = (w0 + w1) / (w0/d0 + w1/d1)
	}
	h0, d0 := step(0)
	h1, d1 := step(1)
	m[0] = pchipEnd(h0, h1, d0, d1)
	h0, d0 = step(n - 2)
	h1, d1 = step(n - 3)
	m[n-1] = pchipEnd(h0, h1, d0, d1)
}

// pchipEnd is the slope at an end whose steps inward are h0, h1 with slopes d0, d1.
func pchipEnd(h0, h1, d0, d1 float64) float64 {
	m := ((2*h0+h1)*d0 - h0*d1) / (h0 + h1)
	switch {
	case m*d0 <= 0:
		return 0
	case d0*d1 <= 0 && math.Abs(m) > 3*math.Abs(d0):
		return 3 * d0
	}
	return m
}

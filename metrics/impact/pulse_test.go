package impact_test

import (
	"math"
	"testing"

	"thudbook/metrics/impact"
)

// shape samples f over 0..duration at a rate, with rest before and after.
func shape(f func(x float64) float64, peak, durationS, rateHz, restS float64) impact.Trace {
	rest, n := int(math.Round(restS*rateHz)), int(math.Round(durationS*rateHz))
	v := make([]float64, 2*rest+n+1)
	for i := 0; i <= n; i++ {
		v[rest+i] = peak * f(float64(i)/float64(n))
	}
	return impact.Trace{StartS: -restS, RateHz: rateHz, Values: v}
}

func halfSine(x float64) float64  { return math.Max(0, math.Sin(math.Pi*x)) }
func haversine(x float64) float64 { return math.Pow(math.Sin(math.Pi*x), 2) }
func triangle(x float64) float64  { return 1 - math.Abs(2*x-1) }
func parabola(x float64) float64  { return 4 * x * (1 - x) }
func sawtooth(x float64) float64  { return math.Min(x/0.2, (1-x)/0.8) }
func trapezium(x float64) float64 { return math.Min(1, math.Min(x, 1-x)/0.2) }

// near reports a difference beyond a relative tolerance, with the source.
func near(t *testing.T, what string, got, want, relative float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s = %.10g, want %.10g within %g (%s)", what, got, want, relative, source)
	}
}

// Closed forms: HIC = c_H A^2.5 T and SI = c_S A^2.5 T with the best window w T.
// Half-sine: tan x = 5x/3, c_S = Γ(7/4)/(√π Γ(9/4)), literature 0.4146 (Chou and
// Nyquist 1974, SAE 740082); triangle: (4/7)(5/7)^2.5 and 2/7 for any skew;
// parabola 2^−½ (5/6)^2.5 and 5π/32; haversine and trapezium by the same condition
// a(t1) = a(t2) = 3/5 of the mean, solved with 30 digits.
func TestClosedForms(t *testing.T) {
	const rate, rest = 100000, 0.01
	for _, tc := range []struct {
		name        string
		f           func(float64) float64
		window      float64
		hic, si     float64
		firstOfSpan float64
	}{
		{"half-sine", halfSine, 0.670229663649663, 0.414645649541511, 0.457655858101088, 0.164885168175},
		{"haversine", haversine, 0.507591812422941, 0.302938854957897, 0.339530545262710, 0.246204093789},
		{"triangle", triangle, 4.0 / 7, 0.246400657355253, 2.0 / 7, 3.0 / 14},
		{"saw-tooth", sawtooth, 4.0 / 7, 0.246400657355253, 2.0 / 7, 3.0 / 7 * 0.2},
		{"parabola", parabola, math.Sqrt2 / 2, 0.448261961366599, 5 * math.Pi / 32, 0.146446609407},
		{"trapezium", trapezium, 0.771428571429, 0.682845532092, 0.714285714286, 0.114285714286},
	} {
		const peak, duration = 100.0, 0.010
		tr := shape(tc.f, peak, duration, rate, rest)
		scale := math.Pow(peak, 2.5) * duration
		h := impact.NewCumulative(tr, nil).FindHIC(impact.HIC36WindowS, impact.HIC{})
		near(t, tc.name+" HIC", h.Value, tc.hic*scale, 1e-5, "closed form")
		near(t, tc.name+" window", tr.At(h.Last)-tr.At(h.First), tc.window*duration, 5e-3, "closed form")
		if math.Abs(tr.At(h.First)-tc.firstOfSpan*duration) > 3e-5 {
			t.Errorf("%s: window begins at %.6f s, want %.6f (closed form)", tc.name, tr.At(h.First), tc.firstOfSpan*duration)
		}
		near(t, tc.name+" SI", impact.SeverityIndex(tr, 0, len(tr.Values)-1), tc.si*scale, 5e-6, "closed form")
	}
}

// The same pulse with discrete windows as an independent search gives them, and the
// limits of the window at work: a half-sine of 30 ms is longer than 15 ms.
func TestHICVectors(t *testing.T) {
	for _, tc := range []struct {
		peak, duration, rate float64
		hic15, hic36         float64
	}{
		{100, 0.010, 10000, 414.465075, 414.465075},
		{100, 0.010, 20000, 414.624282, 414.624282},
		{100, 0.010, 100000, 414.644744, 414.644744},
		{100, 0.030, 10000, 1153.636900, 1243.879604},
		{100, 0.030, 20000, 1153.656668, 1243.929685},
		{100, 0.030, 100000, 1153.662994, 1243.936506},
		{200, 0.008, 10000, 1875.766190, 1875.766190},
		{200, 0.008, 20000, 1876.218275, 1876.218275},
		{200, 0.008, 100000, 1876.465736, 1876.465736},
	} {
		tr := shape(halfSine, tc.peak, tc.duration, tc.rate, 0.05)
		sums := impact.NewCumulative(tr, nil)
		h15 := sums.FindHIC(impact.HIC15WindowS, impact.HIC{})
		h36 := sums.FindHIC(impact.HIC36WindowS, h15)
		near(t, "HIC15", h15.Value, tc.hic15, 1e-8, "independent search over all sample pairs")
		near(t, "HIC36", h36.Value, tc.hic36, 1e-8, "independent search over all sample pairs")
	}
}

// Severity index between the 4 g crossings: whole, cut at the end, cut at both.
func TestSeverityIndexLimits(t *testing.T) {
	for _, tc := range []struct{ peak, whole, both float64 }{
		{100, 457.655858, 457.653529}, {50, 80.902890, 80.898224}, {20, 8.186797, 8.175004},
	} {
		tr := shape(halfSine, tc.peak, 0.010, 1e6, 0.01)
		p, ok := impact.FindPulse(tr, 4)
		if !ok || !p.Began || !p.Returned {
			t.Fatalf("pulse %+v, %v", p, ok)
		}
		near(t, "SI whole", impact.SeverityIndex(tr, 0, len(tr.Values)-1), tc.whole, 1e-7, "closed form")
		near(t, "SI cut", impact.SeverityIndex(tr, p.First, p.Last), tc.both, 1e-5, "closed form, cut at 4 g, samples of 1 µs")
		from := 0.010 / math.Pi * math.Asin(4/tc.peak)
		near(t, "start", p.StartS, from, 1e-5, "arc sine")
		near(t, "end", p.EndS, 0.010-from, 1e-5, "arc sine")
	}
}

// A second lobe behind a dip below 4 g does not count; a pulse that never comes
// back is cut off at the end and says so.
func TestFindPulseEdges(t *testing.T) {
	two := impact.Trace{RateHz: 1000, Values: []float64{0, 10, 50, 10, 2, 30, 40, 30, 0}}
	p, ok := impact.FindPulse(two, 4)
	if want := (impact.Pulse{Peak: 2, First: 0, Last: 4, StartS: 0.0004, EndS: 0.00375, Began: true, Returned: true}); !ok || !closePulse(p, want) {
		t.Errorf("two lobes: %+v, want %+v", p, want)
	}
	open := impact.Trace{RateHz: 1000, Values: []float64{5, 10, 50, 10}}
	p, ok = impact.FindPulse(open, 4)
	if want := (impact.Pulse{Peak: 2, First: 0, Last: 3, StartS: 0, EndS: 0.003}); !ok || !closePulse(p, want) {
		t.Errorf("open pulse: %+v, want %+v", p, want)
	}
	for _, v := range [][]float64{nil, {1}, {4, 4, 4}} {
		if p, ok := impact.FindPulse(impact.Trace{RateHz: 1000, Values: v}, 4); ok {
			t.Errorf("%v: pulse %+v, want none", v, p)
		}
	}
}

func closePulse(a, b impact.Pulse) bool {
	same := math.Abs(a.StartS-b.StartS) < 1e-12 && math.Abs(a.EndS-b.EndS) < 1e-12
	a.StartS, a.EndS, b.StartS, b.EndS = 0, 0, 0, 0
	return same && a == b
}

// Half-sine: T (1 − (2/π) asin(L/A)).
func TestDwell(t *testing.T) {
	for _, tc := range []struct{ peak, duration, level, wantMS float64 }{
		{200, 0.008, 150, 3.6808552986}, {300, 0.010, 150, 6.6666666667}, {300, 0.010, 200, 5.3544094560}, {100, 0.010, 150, 0},
	} {
		got := impact.Dwell(shape(halfSine, tc.peak, tc.duration, 100000, 0.01), tc.level)
		if math.Abs(1000*got-tc.wantMS) > 1e-5 {
			t.Errorf("dwell above %g of %g g: %.8f ms, want %.8f (closed form)", tc.level, tc.peak, 1000*got, tc.wantMS)
		}
	}
}

// ΔV of a half-sine 100 g 10 ms is (2/π)·100·0.010 g·s = 6.24311 m/s along its
// direction; two equal and opposite pulses peak between them.
func TestVelocityChange(t *testing.T) {
	tr := shape(halfSine, 100, 0.010, 20000, 0.01)
	x, y := make([]float64, len(tr.Values)), make([]float64, len(tr.Values))
	for i, v := range tr.Values {
		x[i], y[i] = 0.6*v, -0.8*v
	}
	got, at, parts := impact.VelocityChange(tr, [][]float64{x, y}, 0, len(x)-1)
	near(t, "velocity change", got, 2/math.Pi*9.80665, 3e-5, "closed form")
	near(t, "x part", parts[0], 0.6*got, 1e-12, "direction")
	near(t, "y part", parts[1], -0.8*got, 1e-12, "direction")
	if math.Abs(tr.At(at)-0.010) > 1e-4 {
		t.Errorf("largest at %g s, want the end of the pulse", tr.At(at))
	}
	back := append(append([]float64{}, tr.Values...), make([]float64, len(tr.Values))...)
	for i, v := range tr.Values {
		back[len(tr.Values)+i] = -v
	}
	rebound, _, _ := impact.VelocityChange(impact.Trace{RateHz: 20000}, [][]float64{back}, 0, len(back)-1)
	near(t, "with rebound", rebound, got, 1e-12, "the way there is as long as the way back")
}

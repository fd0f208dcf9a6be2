package impact_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/impact"
)

// A square of n steps with edges of one step h: the best window is the plateau, so
// HIC is A^2.5·T to rounding; the severity index by the trapezoid rule adds half a
// step at each edge.
func TestSquare(t *testing.T) {
	const peak, rate, n = 80.0, 20000, 160
	v := make([]float64, 1000)
	for i := range n + 1 {
		v[300+i] = peak
	}
	tr := impact.Trace{RateHz: rate, Values: v}
	whole := math.Pow(peak, 2.5) * n / rate
	h := impact.NewCumulative(tr, nil).FindHIC(impact.HIC15WindowS, impact.HIC{})
	near(t, "HIC of a square", h.Value, whole, 1e-12, "A^2.5 T")
	if h.First != 300 || h.Last != 300+n {
		t.Errorf("window %d to %d, want the plateau", h.First, h.Last)
	}
	near(t, "SI of a square", impact.SeverityIndex(tr, 0, len(v)-1), whole*(1+1.0/n), 1e-12, "A^2.5 (T + h)")
	near(t, "clip of a square", impact.FindClip(tr, 0.003).Value, peak, 0, "definition")
	near(t, "cumulative clip of a square", impact.CumulativeClip(tr, 0.003), peak, 0, "definition")
	near(t, "dwell of a square", impact.Dwell(tr, peak/2), (n+1.0)/rate, 1e-12, "T + h at half the height")
}

// The total time of a pulse of one lobe above a level is one interval, so both
// clips are equal: half-sine A cos(π·0.003/(2T)), triangle 70, haversine
// 79.3892626146 of 100 g over 10 ms. Two squares of 2 ms hold 100 g for 4 ms in
// total and for no unbroken 3 ms.
func TestCumulativeClipClosedForms(t *testing.T) {
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
		got := impact.CumulativeClip(shape(tc.f, tc.peak, tc.duration, 100000, 0.01), 0.003)
		near(t, tc.name, got, tc.want, 2e-6, "closed form")
	}
	v := make([]float64, 500)
	for i := range 41 {
		v[100+i], v[240+i] = 100, 100
	}
	tr := impact.Trace{RateHz: 20000, Values: v}
	near(t, "two squares of 2 ms", impact.CumulativeClip(tr, 0.003), 100, 0, "definition")
	// each half-sine of 4 ms gives 1.5 ms: A cos(π·0.0015/(2T))
	two := shape(halfSine, 100, 0.004, 100000, 0.01)
	two.Values = append(slices.Clone(two.Values), two.Values...)
	near(t, "two half-sines of 4 ms", impact.CumulativeClip(two, 0.003), 100*math.Cos(math.Pi*0.0015/0.008), 2e-6, "closed form")
	for _, short := range [][]float64{nil, {5}, {5, 6, 7}} {
		if got := impact.CumulativeClip(impact.Trace{RateHz: 20000, Values: short}, 0.003); got != 0 {
			t.Errorf("%v: %g, want 0", short, got)
		}
	}
}

// timeAtOrAbove is the definition: the time in which the straight lines are at or
// above a level.
func timeAtOrAbove(tr impact.Trace, level float64) float64 {
	total := 0.0
	for i := 0; i+1 < len(tr.Values); i++ {
		a, b, d := tr.Values[i], tr.Values[i+1], tr.At(i+1)-tr.At(i)
		switch hi, lo := max(a, b), min(a, b); {
		case lo >= level:
			total += d
		case hi > level:
			total += d * (hi - level) / (hi - lo)
		}
	}
	return total
}

// Just below the result the time is reached, just above it is not; and the
// contiguous clip is never higher.
func TestCumulativeClipAgainstDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(4, 80).Draw(t, "samples")
		tr := impact.Trace{RateHz: rapid.SampledFrom([]float64{1000, 1700, 3333, 8000}).Draw(t, "rate"), Values: make([]float64, n)}
		for i := range tr.Values {
			tr.Values[i] = float64(rapid.IntRange(0, 12).Draw(t, "a"))
		}
		if rapid.Bool().Draw(t, "uneven") {
			tr.TimeS = make([]float64, n)
			for i := 1; i < n; i++ {
				tr.TimeS[i] = tr.TimeS[i-1] + rapid.Float64Range(1e-5, 1e-3).Draw(t, "step")
			}
		}
		if tr.At(n-1)-tr.At(0) < 0.003 {
			return
		}
		got := impact.CumulativeClip(tr, 0.003)
		if below := timeAtOrAbove(tr, got-1e-6); below < 0.003-1e-8 {
			t.Fatalf("%g: held for %g s only", got, below)
		}
		if above := timeAtOrAbove(tr, got+1e-4); above > 0.003 {
			t.Fatalf("%g: the level above it is held for %g s", got, above)
		}
		if c := impact.FindClip(tr, 0.003); c.Value > got+1e-9 {
			t.Fatalf("unbroken %g exceeds cumulative %g", c.Value, got)
		}
	})
}

// Half-sine: T(1 − (2/π) asin x) wide at the share x, rise over T/π (asin 0.9 −
// asin 0.1). Triangle and haversine (asin √x) likewise.
func TestShape(t *testing.T) {
	for _, tc := range []struct {
		name   string
		f, inv func(float64) float64 // inv: time of a share on the way up, of T
	}{
		{"half-sine", halfSine, func(x float64) float64 { return math.Asin(x) / math.Pi }},
		{"triangle", triangle, func(x float64) float64 { return x / 2 }},
		{"haversine", haversine, func(x float64) float64 { return math.Asin(math.Sqrt(x)) / math.Pi }},
	} {
		const peak, duration = 100.0, 0.010
		tr := shape(tc.f, peak, duration, 200000, 0.01)
		p, ok := impact.FindPulse(tr, 4)
		if !ok {
			t.Fatal("no pulse")
		}
		s := impact.FindShape(tr, p)
		if !s.Has10 || !s.Has50 || !s.HasUp {
			t.Fatalf("%s: %+v", tc.name, s)
		}
		near(t, tc.name+", time to peak", s.TimeToPeakS, duration*(0.5-tc.inv(0.04)), 1e-4, "closed form")
		near(t, tc.name+", width at 10 %", s.Width10S, duration*(1-2*tc.inv(0.1)), 1e-5, "closed form")
		near(t, tc.name+", width at 50 %", s.Width50S, duration*(1-2*tc.inv(0.5)), 1e-5, "closed form")
		near(t, tc.name+", rise", s.RisePerS, 0.8*peak/(duration*(tc.inv(0.9)-tc.inv(0.1))), 1e-5, "closed form")
	}
	// a record that begins at the peak has no rise, one that ends there no width
	for _, v := range [][]float64{{50, 20, 1}, {1, 20, 50}, {50, 50}} {
		tr := impact.Trace{RateHz: 1000, Values: v}
		p, _ := impact.FindPulse(tr, 4)
		if s := impact.FindShape(tr, p); s.Has10 || s.Has50 || s.Width10S != 0 || (v[0] == 50) == s.HasUp {
			t.Errorf("%v: %+v", v, s)
		}
	}
}

// RIC is HIC of the angular acceleration: half-sine c_H A^2.5 T. GAMBIT in form B
// is the length of the two shares. HARM by hand: 0.0148·300 + 15.6·0.30.
func TestCombined(t *testing.T) {
	tr := shape(halfSine, 5000, 0.010, 100000, 0.01)
	near(t, "RIC36", impact.FindRIC(tr).Value, 0.414645649541511*math.Pow(5000, 2.5)*0.010, 1e-5, "closed form")
	long := shape(halfSine, 5000, 0.072, 20000, 0.01) // the window is half of the pulse
	near(t, "RIC36, window at its limit", impact.FindRIC(long).Value, 0.384554419042*math.Pow(5000, 2.5)*0.072, 1e-5, "closed form")
	v, da, db := impact.GAMBITB(100, 5000)
	near(t, "GAMBIT, form B", v, 0.640312, 1e-6, "by hand")
	up, _, _ := impact.GAMBITB(100+1e-3, 5000)
	near(t, "by linear", da, (up-v)/1e-3, 1e-4, "finite difference")
	up, _, _ = impact.GAMBITB(100, 5000+1e-2)
	near(t, "by angular", db, (up-v)/1e-2, 1e-4, "finite difference")
	h, byHIC, byDAMAGE := impact.HARM(300, 0.30)
	near(t, "HARM", h, 9.12, 1e-12, "by hand")
	near(t, "by HIC", byHIC, 0.0148, 1e-12, "definition")
	near(t, "by DAMAGE", byDAMAGE, 15.6, 1e-12, "definition")
}

// What the names of the metrics fix in code is what the table of definitions says.
func TestCodeAgreesWithTable(t *testing.T) {
	hic, ric, clip, sum, si := impact.HICForm(), impact.RICForm(), impact.ClipForm(), impact.CumulativeClipForm(), impact.SeverityIndexForm()
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"15 ms window", hic.Value("window15"), impact.HIC15WindowS},
		{"36 ms window", hic.Value("window36"), impact.HIC36WindowS},
		{"window of RIC", ric.Value("window"), impact.RICWindowS},
		{"clip", clip.Value("duration"), impact.Clip3MSDurationS},
		{"cumulative clip", sum.Value("duration"), impact.Clip3MSDurationS},
		{"exponent of HIC", hic.Value("exponent"), 2.5},
		{"exponent of RIC", ric.Value("exponent"), 2.5},
		{"exponent of SI", si.Value("exponent"), 2.5},
	} {
		if c.got != c.want {
			t.Errorf("%s: %g in the table, %g in the code", c.what, c.got, c.want)
		}
	}
}

// turn is a rotation about a unit axis (Rodrigues' formula).
func turn(u [3]float64, angle float64) (m [3][3]float64) {
	s, c := math.Sincos(angle)
	for i := range 3 {
		for j := range 3 {
			m[i][j] = (1 - c) * u[i] * u[j]
		}
		m[i][i] += c
	}
	m[0][1], m[1][0] = m[0][1]-s*u[2], m[1][0]+s*u[2]
	m[0][2], m[2][0] = m[0][2]+s*u[1], m[2][0]-s*u[1]
	m[1][2], m[2][1] = m[1][2]-s*u[0], m[2][1]+s*u[0]
	return m
}

// What an engineer expects of any signal: other axes leave the resultant, and all
// that rests on it, as they were; k times the signal gives k^2.5 times HIC, the
// unbounded integral, and the severity index when its threshold is scaled too;
// a shift in time changes times only; HIC never exceeds the unbounded integral
// (Jensen), nor HIC15 HIC36.
func TestInvariants(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const rate = 5000.0
		n := 600
		var axes [3][]float64
		seed := rapid.Uint64().Draw(t, "seed")
		for k := range axes {
			axes[k] = noisy(seed+uint64(k), rate).Values[:n]
		}
		k := rapid.Float64Range(0.2, 5).Draw(t, "factor")
		shift := rapid.Float64Range(-1, 1).Draw(t, "shift")
		u := [3]float64{rapid.Float64Range(-1, 1).Draw(t, "ux"), rapid.Float64Range(-1, 1).Draw(t, "uy"), rapid.Float64Range(0.1, 1).Draw(t, "uz")}
		length := math.Sqrt(u[0]*u[0] + u[1]*u[1] + u[2]*u[2])
		m := turn([3]float64{u[0] / length, u[1] / length, u[2] / length}, rapid.Float64Range(-3, 3).Draw(t, "angle"))
		var turned [3][]float64
		for i := range turned {
			turned[i] = make([]float64, n)
			for s := range n {
				for j := range axes {
					turned[i][s] += k * m[i][j] * axes[j][s]
				}
			}
		}
		a := impact.Trace{RateHz: rate, Values: impact.Magnitude(nil, axes[:]...)}
		b := impact.Trace{StartS: shift, RateHz: rate, Values: impact.Magnitude(nil, turned[:]...)}
		same := func(what string, got, want float64) {
			t.Helper()
			if math.Abs(got-want) > 1e-9*math.Abs(want) {
				t.Fatalf("%s = %.12g, want %.12g", what, got, want)
			}
		}
		k25 := math.Pow(k, 2.5)
		ca, cb := impact.NewCumulative(a, nil), impact.NewCumulative(b, nil)
		a15, b15 := ca.FindHIC(impact.HIC15WindowS, impact.HIC{}), cb.FindHIC(impact.HIC15WindowS, impact.HIC{})
		a36, b36 := ca.FindHIC(impact.HIC36WindowS, a15), cb.FindHIC(impact.HIC36WindowS, b15)
		same("HIC15", b15.Value, k25*a15.Value)
		same("HIC36", b36.Value, k25*a36.Value)
		whole := impact.SeverityIndex(a, 0, n-1)
		same("unbounded integral", impact.SeverityIndex(b, 0, n-1), k25*whole)
		if a15.Value > a36.Value || a36.Value > whole*(1+1e-12) {
			t.Fatalf("HIC15 %g ≤ HIC36 %g ≤ unbounded integral %g does not hold", a15.Value, a36.Value, whole)
		}
		pa, okA := impact.FindPulse(a, 4)
		pb, okB := impact.FindPulse(b, 4*k)
		if !okA || !okB || pa.First != pb.First || pa.Last != pb.Last {
			t.Fatalf("pulses %+v and %+v", pa, pb)
		}
		si := impact.SeverityIndex(a, pa.First, pa.Last)
		same("severity index, threshold scaled too", impact.SeverityIndex(b, pb.First, pb.Last), k25*si)
		if si > whole*(1+1e-12) {
			t.Fatalf("severity index %g exceeds the unbounded integral %g", si, whole)
		}
		same("contiguous clip", impact.FindClip(b, 0.003).Value, k*impact.FindClip(a, 0.003).Value)
		if ca, cb := impact.CumulativeClip(a, 0.003), impact.CumulativeClip(b, 0.003); math.Abs(cb-k*ca) > 1e-5*k*ca { // 1 ns is forgiven
			t.Fatalf("cumulative clip %g, want %g", cb, k*ca)
		}
		same("dwell, level scaled too", impact.Dwell(b, 50*k), impact.Dwell(a, 50))
		va, _, _ := impact.VelocityChange(a, axes[:], pa.First, pa.Last)
		vb, _, _ := impact.VelocityChange(b, turned[:], pb.First, pb.Last)
		same("velocity change", vb, k*va)
		sa, sb := impact.FindShape(a, pa), impact.FindShape(b, pb)
		same("width at 50 %", sb.Width50S, sa.Width50S)
		same("rise", sb.RisePerS, k*sa.RisePerS)
	})
}

func BenchmarkCumulativeClip(b *testing.B) {
	tr := noisy(3, 80000)
	b.ReportAllocs()
	for b.Loop() {
		impact.CumulativeClip(tr, 0.003)
	}
}

// A plateau at exactly half the peak is held, not merely touched.
func TestCumulativeClipOfPlateauAtHalfPeak(t *testing.T) {
	tr := impact.Trace{RateHz: 1000, Values: []float64{1, 1, 1, 2}}
	if got := impact.CumulativeClip(tr, 0.003); math.Abs(got-1) > 1e-12 {
		t.Errorf("got %g, want 1: the trace is at or above 1 for its 3 ms", got)
	}
}

package shock_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/shock"
)

func near(t *testing.T, what string, got, want, relative float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s = %.10g, want %.10g within %g (%s)", what, got, want, relative, source)
	}
}

// halfSine is a pulse of n steps, beginning and ending with a sample of zero.
func halfSine(peak float64, n int) []float64 {
	v := make([]float64, n+1)
	for i := 1; i < n; i++ {
		v[i] = peak * math.Sin(math.Pi*float64(i)/float64(n))
	}
	return v
}

func compute(t *testing.T, a []float64, rate float64, s shock.Settings) shock.Spectrum {
	t.Helper()
	out, err := shock.Compute(a, rate, s)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Undamped system under a half-sine A sin(πt/T), p = 2fT its frequency over that of
// the pulse. During the pulse the mass moves with A p/(p²−1)·(p sin πt/T − sin pπt/T),
// whose turning points lie at t/T = 2k/(p±1); afterwards it rings with the
// amplitude A·|2p cos(pπ/2)/(1−p²)|. At p = 1 the limits: A/2·(sin − x cos) and
// A·π/2. The equation of motion solved by hand; the curves are those of the
// handbooks on shock and vibration.
func TestHalfSineUndamped(t *testing.T) {
	const peak, n, duration = 50.0, 20000, 0.011
	rate := n / duration
	for _, p := range []float64{1e-4, 0.01, 0.1, 0.3, 0.5, 0.9, 1, 1.1, 1.62, 2, 2.5, 3, 4.7, 7, 12, 31} {
		during := func(x float64) float64 { // x = πt/T
			if p == 1 {
				return peak / 2 * (math.Sin(x) - x*math.Cos(x))
			}
			return peak * p / (p*p - 1) * (p*math.Sin(x) - math.Sin(p*x))
		}
		high, low := during(math.Pi), 0.0
		high, low = max(high, 0), min(high, 0)
		for k := 1.0; k <= 40; k++ {
			for _, d := range []float64{p + 1, p - 1} {
				if x := 2 * k / d; x > 0 && x < 1 {
					high, low = max(high, during(math.Pi*x)), min(low, during(math.Pi*x))
				}
			}
		}
		ringing := peak * math.Pi / 2
		if p != 1 {
			ringing = peak * math.Abs(2*p*math.Cos(p*math.Pi/2)/(1-p*p))
		}
		f := p / (2 * duration)
		pt := compute(t, halfSine(peak, n), rate, shock.Settings{FrequenciesHz: []float64{f}}).Points[0]
		name := fmt.Sprintf("p = %g", p)
		near(t, name+", primary", pt.Primary.Positive, high, 2e-5, "closed form")
		if math.Abs(pt.Primary.Negative+low) > 2e-5*peak {
			t.Errorf("%s, primary to the other side %g, want %g (closed form)", name, pt.Primary.Negative, -low)
		}
		for side, got := range map[string]float64{"residual": pt.Residual.Positive, "residual, other side": pt.Residual.Negative, "static": pt.StaticResidual.Positive} {
			if math.Abs(got-ringing) > 1e-6*ringing+1e-7*peak {
				t.Errorf("%s, %s %.9g, want %.9g (closed form)", name, side, got, ringing)
			}
		}
		near(t, name+", maximax", pt.Maximax(), max(high, -low, ringing), 2e-5, "closed form")
	}
}

// Where a system is far softer than the pulse is short, only the velocity change
// counts: its pseudo-velocity is ΔV, here (2/π) A T. Where it is far stiffer, the
// mass follows the base: its acceleration is that of the record.
func TestLimitsOfTheSpectrum(t *testing.T) {
	const peak, duration, n = 100.0, 0.010, 2000
	a := append(halfSine(peak, n), make([]float64, 20*n)...)
	s := compute(t, a, n/duration, shock.Settings{FrequenciesHz: []float64{0.001, 0.01, 0.1, 50000}, DampingRatio: 0})
	deltaV := 9.80665 * 2 / math.Pi * peak * duration
	for i, tolerance := range []float64{1e-6, 2e-5, 1e-3} { // softer, nearer; the discrete area is (π/n)²/12 low
		near(t, fmt.Sprintf("pseudo-velocity at %g Hz", s.Points[i].FrequencyHz), s.Points[i].PseudoVelocityMS(), deltaV, tolerance, "momentum")
	}
	near(t, "stiff", s.Points[3].Maximax(), peak, 1.1e-3, "the mass follows the base, but for a share 1/(2fT)")
	near(t, "displacement", s.Points[0].RelativeDisplacementM(), deltaV/(2*math.Pi*0.001), 1e-6, "z = v/ω")
}

// A square pulse at least half a period long doubles: 2A, undamped; with damping
// A·(1 + exp(−πζ/√(1−ζ²))) for the relative displacement.
func TestSquare(t *testing.T) {
	const rate, n = 1e6, 4000 // 4 ms
	a := make([]float64, n+2)
	for i := range n {
		a[1+i] = 30
	}
	for _, zeta := range []float64{0, 0.02, 0.05, 0.2, 0.7} {
		p := compute(t, a, rate, shock.Settings{FrequenciesHz: []float64{500}, DampingRatio: zeta}).Points[0]
		want := 30 * (1 + math.Exp(-math.Pi*zeta/math.Sqrt(1-zeta*zeta)))
		near(t, fmt.Sprintf("ζ = %g", zeta), p.StaticPrimary.Negative, want, 2e-6, "overshoot of a step")
	}
}

// The coefficients of the ramp-invariant recursion in the form of ISO 18431-4
// (absolute acceleration; from memory, not confirmed against print):
// y = b0 x + b1 x₁ + b2 x₂ + 2C y₁ − E² y₂. Where its coefficients are well
// conditioned both forms give the same spectrum.
func TestRecursionAsDifferenceEquation(t *testing.T) {
	const rate, zeta = 20000.0, 0.05
	a := noise(7, 4000)
	for _, f := range []float64{200, 1000, 3000, 9000} {
		theta := 2 * math.Pi * f / rate
		e := math.Exp(-zeta * theta)
		k := theta * math.Sqrt(1-zeta*zeta)
		c, s := e*math.Cos(k), e*math.Sin(k)
		b0, b1, b2 := 1-s/k, 2*(s/k-c), e*e-s/k
		var x1, x2, y1, y2, high, low float64
		for _, x := range a {
			y := b0*x + b1*x1 + b2*x2 + 2*c*y1 - e*e*y2
			x2, x1, y2, y1 = x1, x, y1, y
			high, low = max(high, y), min(low, y)
		}
		p := compute(t, a, rate, shock.Settings{FrequenciesHz: []float64{f}, DampingRatio: zeta}).Points[0]
		near(t, fmt.Sprintf("%g Hz, positive", f), p.Primary.Positive, high, 1e-9, "difference equation")
		near(t, fmt.Sprintf("%g Hz, negative", f), p.Primary.Negative, -low, 1e-9, "difference equation")
	}
}

// noise is a burst that decays, with nothing at its start.
func noise(seed uint64, n int) []float64 {
	r := rand.New(rand.NewPCG(seed, 2))
	v := make([]float64, n)
	for i := range v {
		x := float64(i) / float64(n)
		v[i] = 60 * r.NormFloat64() * x * math.Exp(-8*x)
	}
	return v
}

// The script testdata/srs.py computes the same by scipy.signal.lsim and a fine grid.
func TestAgainstScipy(t *testing.T) {
	type extremes [2]float64
	type request struct {
		Acceleration  []float64 `json:"acceleration"`
		RateHz        float64   `json:"rate_hz"`
		DampingRatio  float64   `json:"damping_ratio"`
		FrequenciesHz []float64 `json:"frequencies_hz"`
	}
	saw := make([]float64, 220) // terminal-peak saw-tooth that ends on a high sample
	for i := range saw {
		saw[i] = 40 * float64(i) / 220
	}
	frequencies := []float64{0.05, 1, 10, 47, 150, 600, 1900, 5000, 9990}
	var cases []request
	for _, zeta := range []float64{0, 0.05, 0.3, 0.9} {
		cases = append(cases,
			request{halfSine(100, 220), 20000, zeta, frequencies},
			request{saw, 20000, zeta, frequencies},
			request{noise(3, 1500), 20000, zeta, frequencies})
	}
	in, err := json.Marshal(cases)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "/usr/bin/python3", "testdata/srs.py")
	cmd.Stdin = bytes.NewReader(in)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	text, err := cmd.Output()
	if err != nil {
		t.Fatalf("srs.py: %v (scipy is needed: apt-get install python3-scipy)\n%s", err, stderr.Bytes())
	}
	var want [][]struct {
		Primary        extremes `json:"primary"`
		Residual       extremes `json:"residual"`
		StaticPrimary  extremes `json:"static_primary"`
		StaticResidual extremes `json:"static_residual"`
	}
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	checked := 0
	for i, c := range cases {
		s := compute(t, c.Acceleration, c.RateHz, shock.Settings{FrequenciesHz: c.FrequenciesHz, DampingRatio: c.DampingRatio})
		for k, p := range s.Points {
			w := want[i][k]
			scale := max(w.Primary[0], w.Primary[1], w.Residual[0], w.Residual[1])
			for _, q := range []struct {
				name      string
				got       shock.Extremes
				want      extremes
				tolerance float64 // of the largest; the grid after the end has 2667 points a period
			}{
				{"primary", p.Primary, w.Primary, 1e-8}, {"residual", p.Residual, w.Residual, 2e-6},
				{"static primary", p.StaticPrimary, w.StaticPrimary, 1e-8}, {"static residual", p.StaticResidual, w.StaticResidual, 2e-6},
			} {
				for side, got := range []float64{q.got.Positive, q.got.Negative} {
					checked++
					if !(math.Abs(got-q.want[side]) <= q.tolerance*scale) {
						t.Errorf("record %d, ζ %g, %g Hz, %s side %d: %.10g, want %.10g (scipy)", i, c.DampingRatio, p.FrequencyHz, q.name, side, got, q.want[side])
					}
				}
			}
		}
	}
	if checked < 500 {
		t.Errorf("only %d values were compared", checked)
	}
}

// The system is linear; turning the record round exchanges the sides; rest before
// the shock changes nothing.
func TestInvariants(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := noise(rapid.Uint64().Draw(t, "seed"), 300)
		k := rapid.Float64Range(0.1, 10).Draw(t, "factor")
		s := shock.Settings{FrequenciesHz: []float64{rapid.Float64Range(0.01, 9000).Draw(t, "f")}, DampingRatio: rapid.Float64Range(0, 0.99).Draw(t, "ζ")}
		b := make([]float64, 50, 350)
		for _, v := range a {
			b = append(b, -k*v)
		}
		p, err := shock.Compute(a, 20000, s)
		if err != nil {
			t.Fatal(err)
		}
		q, err := shock.Compute(b, 20000, s)
		if err != nil {
			t.Fatal(err)
		}
		x, y := p.Points[0], q.Points[0]
		tolerance := 1e-9 * (1 + k*x.Maximax())
		for i, d := range []float64{
			y.Primary.Negative - k*x.Primary.Positive, y.Primary.Positive - k*x.Primary.Negative,
			y.Residual.Negative - k*x.Residual.Positive, y.Residual.Positive - k*x.Residual.Negative,
			y.StaticPrimary.Negative - k*x.StaticPrimary.Positive, y.StaticResidual.Positive - k*x.StaticResidual.Negative,
		} {
			if math.Abs(d) > tolerance {
				t.Fatalf("quantity %d differs by %g: %+v, %+v", i, d, x, y)
			}
		}
	})
}

func TestWarnings(t *testing.T) {
	codes := func(a []float64, f ...float64) string {
		var out []string
		for _, w := range compute(t, a, 20000, shock.Settings{FrequenciesHz: f, DampingRatio: 0.05}).Warnings {
			if !strings.HasSuffix(w.Text, ".") {
				t.Errorf("%q is no sentence", w.Text)
			}
			out = append(out, string(w.Code))
		}
		return strings.Join(out, " ")
	}
	pulse := halfSine(10, 400) // 20 ms
	for _, tc := range []struct {
		a    []float64
		f    []float64
		want string
	}{
		{pulse, []float64{50, 2000}, ""},
		{pulse, []float64{50, 2001}, "rate_too_low_for_frequency"},
		{pulse, []float64{20, 100}, "record_shorter_than_period"},
		{pulse[:200], []float64{200}, "record_ends_away_from_zero"},
		{pulse[200:], []float64{200}, "record_starts_away_from_zero"},
	} {
		if got := codes(tc.a, tc.f...); got != tc.want {
			t.Errorf("%v Hz: %q, want %q", tc.f, got, tc.want)
		}
	}
	// ten samples a period: cos 18° of the peak at least
	near(t, "share", shock.SamplingError(2000, 20000), 1-math.Cos(math.Pi/10), 1e-12, "geometry")
}

func TestRefuses(t *testing.T) {
	a, f := halfSine(1, 10), []float64{100}
	for name, c := range map[string]struct {
		a    []float64
		rate float64
		s    shock.Settings
	}{
		"no samples":      {nil, 1000, shock.Settings{FrequenciesHz: f}},
		"rate zero":       {a, 0, shock.Settings{FrequenciesHz: f}},
		"rate infinite":   {a, math.Inf(1), shock.Settings{FrequenciesHz: f}},
		"rate NaN":        {a, math.NaN(), shock.Settings{FrequenciesHz: f}},
		"damping 1":       {a, 1000, shock.Settings{FrequenciesHz: f, DampingRatio: 1}},
		"damping NaN":     {a, 1000, shock.Settings{FrequenciesHz: f, DampingRatio: math.NaN()}},
		"damping below 0": {a, 1000, shock.Settings{FrequenciesHz: f, DampingRatio: -0.1}},
		"no frequencies":  {a, 1000, shock.Settings{}},
		"frequency zero":  {a, 1000, shock.Settings{FrequenciesHz: []float64{0}}},
		"frequency high":  {a, 1000, shock.Settings{FrequenciesHz: []float64{501}}},
		"frequency NaN":   {a, 1000, shock.Settings{FrequenciesHz: []float64{math.NaN()}}},
		"sample NaN":      {[]float64{0, math.NaN()}, 1000, shock.Settings{FrequenciesHz: f}},
		"sample infinite": {[]float64{0, math.Inf(-1)}, 1000, shock.Settings{FrequenciesHz: f}},
	} {
		if got, err := shock.Compute(c.a, c.rate, c.s); err == nil {
			t.Errorf("%s: %+v, want an error", name, got)
		}
	}
}

func TestLogSpaced(t *testing.T) {
	got, err := shock.LogSpaced(10, 2000, 6)
	if err != nil {
		t.Fatal(err)
	}
	if got[0] != 10 || got[len(got)-1] != 2000 || len(got) != 47 { // log2(200)·6 = 45.9
		t.Errorf("%d from %g to %g", len(got), got[0], got[len(got)-1])
	}
	near(t, "octave", got[6], 20, 1e-12, "definition")
	if got, err := shock.LogSpaced(10, 80, 1); err != nil || len(got) != 4 {
		t.Errorf("three octaves: %v, %v", got, err)
	}
	for _, c := range []struct {
		from, to float64
		n        int
	}{{0, 10, 6}, {-1, 10, 6}, {10, 5, 6}, {10, 20, 0}, {10, 20, 1000}, {math.NaN(), 20, 6}, {10, math.Inf(1), 6}} {
		if got, err := shock.LogSpaced(c.from, c.to, c.n); err == nil {
			t.Errorf("%+v: %v, want an error", c, got)
		}
	}
	near(t, "Q of 10", shock.Damping(10), 0.05, 1e-15, "ζ = 1/(2Q)")
}

// Nothing is allocated for a sample: ten times the samples, the same allocations.
func TestAllocations(t *testing.T) {
	s := shock.Settings{FrequenciesHz: []float64{100, 200, 400}, DampingRatio: 0.05}
	count := func(a []float64) float64 {
		return testing.AllocsPerRun(10, func() { _, _ = shock.Compute(a, 20000, s) })
	}
	if short, long := count(halfSine(1, 400)), count(halfSine(1, 4000)); short != long || long > 4 {
		t.Errorf("%g allocations for 400 samples, %g for 4000", short, long)
	}
}

func BenchmarkSpectrum(b *testing.B) {
	a := noise(1, 10000)
	f, err := shock.LogSpaced(5, 2000, 6)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := shock.Compute(a, 20000, shock.Settings{FrequenciesHz: f, DampingRatio: 0.05}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(a)*len(f)), "ns/sample/frequency")
}

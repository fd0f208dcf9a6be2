package headform_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"thudbook/metrics/headform"
	"thudbook/metrics/signal"
	"thudbook/metrics/unit"
)

type vec = [3]float64

func cross(a, b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// motion is a rigid body whose movement is known in closed form, in body axes.
type motion func(t float64) (a0, w, alpha vec) // m/s², rad/s, rad/s²

// nutating is the torque-free symmetric top: it spins at n about z and nutates, its
// angular velocity in body axes going round at λ = n (C−A)/A (Euler's equations, any
// textbook of mechanics). The centre of gravity is shaken on top of it.
func nutating(t float64) (a0, w, alpha vec) {
	const spin, tilt, a, c = 60.0, 25.0, 0.02, 0.055
	lambda := spin * (c - a) / a
	s, k := math.Sincos(lambda * t)
	a0 = vec{900 * math.Sin(700*t), -400 * math.Cos(500*t), 2e4 * t * math.Exp(-60*t)}
	return a0, vec{tilt * k, tilt * s, spin}, vec{-tilt * lambda * s, tilt * lambda * k, 0}
}

// struck starts from rest and turns about an axis that wanders, as after a blow.
func struck(t float64) (a0, w, alpha vec) {
	if t < 0 {
		return a0, w, alpha
	}
	const rise = 0.012
	ramp, slope := 1.0, 0.0
	if x := t / rise; x < 1 { // x³(10 − 15x + 6x²), smooth to the second derivative
		ramp, slope = x*x*x*(10-15*x+6*x*x), 30*x*x*(1-x)*(1-x)/rise
		bump := 64 * x * x * x * (1 - x) * (1 - x) * (1 - x)
		a0 = vec{700 * bump, -450 * bump * (1 - 0.3*x), 300 * bump}
	}
	for k, size := range [3]float64{22, -30, 17} {
		f := []float64{130, 90, 160}[k]
		s, c := math.Sincos(f * t)
		w[k] = size * ramp * (1 + 0.4*s)
		alpha[k] = size * (slope*(1+0.4*s) + ramp*0.4*f*c)
	}
	return a0, w, alpha
}

// sensed is what an accelerometer at r in m measures along an axis, in g.
func sensed(m motion, t float64, s headform.Accelerometer) float64 {
	a0, w, alpha := m(t)
	r := vec{s.PositionMM[0] / 1000, s.PositionMM[1] / 1000, s.PositionMM[2] / 1000}
	tangential, centripetal := cross(alpha, r), cross(w, cross(w, r))
	return (a0[s.Axis] + tangential[s.Axis] + centripetal[s.Axis]) / unit.G0
}

// layout is a 3-2-2-2 arrangement in a scattered order, its centre off the centre of
// gravity, arms of different lengths and to both sides.
func layout() []headform.Accelerometer {
	c := vec{4, -6, 9}
	at := func(axis int, dx, dy, dz float64) headform.Accelerometer {
		return headform.Accelerometer{Axis: axis, PositionMM: vec{c[0] + dx, c[1] + dy, c[2] + dz}}
	}
	return []headform.Accelerometer{
		at(0, 0, 55, 0), at(2, -70, 0, 0), at(1, 0, 0, 0), at(0, 0, 0, 0), at(2, 0, 55, 0.5), at(1, -70, 0, 0), at(0, 0, 0, -60), at(2, 0, 0, 0), at(1, 0, 0.4, -60),
	}
}

const (
	fs      = 20000.0
	samples = 1200
	before  = 200 // samples before t = 0
)

// record lets a layout feel a motion.
func record(m motion, s []headform.Accelerometer) (g [9][]float64) {
	for k := range g {
		g[k] = make([]float64, samples)
		for i := range g[k] {
			g[k][i] = sensed(m, float64(i-before)/fs, s[k])
		}
	}
	return g
}

func three() [3][]float64 {
	return [3][]float64{make([]float64, samples), make([]float64, samples), make([]float64, samples)}
}

// exact puts every sensor on its arm, for comparisons to the last digits.
func exact(s []headform.Accelerometer) []headform.Accelerometer {
	for i := range s {
		for k := range 3 {
			s[i].PositionMM[k] = math.Trunc(s[i].PositionMM[k]-vec{4, -6, 9}[k]) + vec{4, -6, 9}[k]
		}
	}
	return s
}

// Nine accelerometers give the angular acceleration of a spinning and nutating body at
// every instant, and its angular velocity less that at the start.
func TestNineOnANutatingBody(t *testing.T) {
	s := exact(layout())
	n, ok := headform.FindNine(s)
	if !ok {
		t.Fatal("the arrangement was not found")
	}
	if n.Centre != [3]int{3, 2, 7} {
		t.Errorf("centre %v, want 3, 2, 7", n.Centre)
	}
	for name, m := range map[string]motion{"nutating": nutating, "struck": struck} {
		g, alpha, w := record(m, s), three(), three()
		n.Acceleration(alpha, &g)
		headform.Integrate(w, alpha, nil, fs)
		times := make([]float64, samples)
		for i := range times {
			times[i] = float64(i) / fs
		}
		uneven := three()
		headform.Integrate(uneven, alpha, times, 0)
		_, start, _ := m(-before / fs)
		for i := range samples {
			_, wantW, wantAlpha := m(float64(i-before) / fs)
			for k := range 3 {
				if math.Abs(alpha[k][i]-wantAlpha[k]) > 1e-8*5000 {
					t.Fatalf("%s, sample %d, axis %d: %g rad/s², want %g", name, i, k, alpha[k][i], wantAlpha[k])
				}
				// the trapezoid rule is off by Δt²/12 times the change of the slope of α
				if got, want := w[k][i], wantW[k]-start[k]; math.Abs(got-want) > 2e-3 {
					t.Fatalf("%s, sample %d, axis %d: %g rad/s, want %g", name, i, k, got, want)
				}
				if math.Abs(uneven[k][i]-w[k][i]) > 1e-9 {
					t.Fatalf("with times written out: %g, want %g", uneven[k][i], w[k][i])
				}
			}
		}
	}
}

// Padgaonkar's package by hand, one instant: a0 = (100, −50, 20) m/s², α = (3000,
// −2000, 1500), ω = (20, −10, 5), arms of 50 mm: (93.75, 15, 125), (15, −71.25, 167.5)
// and (5, −202.5, −5) m/s² at their ends.
func TestNineByHand(t *testing.T) {
	var s []headform.Accelerometer
	for k, p := range []vec{{}, {50}, {0, 50}, {0, 0, 50}} {
		for axis := range 3 {
			if k == 0 || axis != k-1 {
				s = append(s, headform.Accelerometer{Axis: axis, PositionMM: p})
			}
		}
	}
	values := []float64{100, -50, 20, 15, 125, 15, 167.5, 5, -202.5}
	var g [9][]float64
	for k, v := range values {
		g[k] = []float64{v / unit.G0}
	}
	n, ok := headform.FindNine(s)
	if !ok {
		t.Fatal("the arrangement was not found")
	}
	alpha := [3][]float64{{0}, {0}, {0}}
	n.Acceleration(alpha, &g)
	for k, want := range [3]float64{3000, -2000, 1500} {
		if math.Abs(alpha[k][0]-want) > 1e-9 {
			t.Errorf("axis %d: %.12g rad/s², want %g", k, alpha[k][0], want)
		}
	}
}

// Three linear accelerometers off the centre and three angular rates, differentiated
// by the five-point stencil, give the acceleration of the centre of gravity; so do
// nine whose centre is off it. At the centre nothing changes.
func TestEveryArrangementAtTheCentre(t *testing.T) {
	for name, m := range map[string]motion{"nutating": nutating, "struck": struck} {
		rate, alpha := three(), three()
		for i := range samples {
			_, w, _ := m(float64(i-before) / fs)
			for k := range 3 {
				rate[k][i] = w[k]
			}
		}
		for k := range 3 {
			signal.Derivative(alpha[k], rate[k], fs)
		}
		for arrangement, places := range map[string][3]vec{
			"at the centre":           {},
			"one block off it":        {{-30, 12, 44}, {-30, 12, 44}, {-30, 12, 44}},
			"three at their own arms": {{-30, 12, 44}, {55, 0, -8}, {1, -62, 3}},
		} {
			var linear [3][]float64
			for k := range 3 {
				linear[k] = make([]float64, samples)
				for i := range samples {
					linear[k][i] = sensed(m, float64(i-before)/fs, headform.Accelerometer{Axis: k, PositionMM: places[k]})
				}
			}
			got := headform.AtCentre([3][]float64{}, headform.Motion{Linear: linear, Rate: rate, Acceleration: alpha}, places)
			compareCentre(t, name+", "+arrangement, m, got, 1e-3)
		}
		s := exact(layout())
		n, _ := headform.FindNine(s)
		g := record(m, s)
		n.Acceleration(alpha, &g)
		if name == "nutating" {
			continue // it does not start from rest, so the angular velocity is not known
		}
		headform.Integrate(rate, alpha, nil, fs)
		var linear [3][]float64
		var places [3]vec
		for k, at := range n.Centre {
			linear[k], places[k] = g[at], s[at].PositionMM
		}
		got := headform.AtCentre([3][]float64{}, headform.Motion{Linear: linear, Rate: rate, Acceleration: alpha}, places)
		compareCentre(t, name+", nine", m, got, 1e-3)
	}
}

// compareCentre checks against the closed form; the one-sided stencils at the ends
// are left out.
func compareCentre(t *testing.T, name string, m motion, got [3][]float64, toleranceG float64) {
	t.Helper()
	for i := 2; i < samples-2; i++ {
		a0, _, _ := m(float64(i-before) / fs)
		for k := range 3 {
			if want := a0[k] / unit.G0; math.Abs(got[k][i]-want) > toleranceG {
				t.Fatalf("%s, sample %d, axis %d: %g g, want %g", name, i, k, got[k][i], want)
			}
		}
	}
}

func TestFindNineRefuses(t *testing.T) {
	for name, change := range map[string]func([]headform.Accelerometer) []headform.Accelerometer{
		"eight":          func(s []headform.Accelerometer) []headform.Accelerometer { return s[:8] },
		"four along x":   func(s []headform.Accelerometer) []headform.Accelerometer { s[1].Axis = 0; return s },
		"off the arm":    func(s []headform.Accelerometer) []headform.Accelerometer { s[0].PositionMM[2] += 3; return s },
		"short arm":      func(s []headform.Accelerometer) []headform.Accelerometer { s[0].PositionMM[1] = -1; return s },
		"along its axis": func(s []headform.Accelerometer) []headform.Accelerometer { s[0].PositionMM[0] += 20; return s },
		"one arm twice":  func(s []headform.Accelerometer) []headform.Accelerometer { s[6].PositionMM = s[0].PositionMM; return s },
		"all in one":     func([]headform.Accelerometer) []headform.Accelerometer { return make([]headform.Accelerometer, 9) },
		"no such axis":   func(s []headform.Accelerometer) []headform.Accelerometer { s[4].Axis = 3; return s },
	} {
		if n, ok := headform.FindNine(change(layout())); ok {
			t.Errorf("%s: taken for nine: %+v", name, n)
		}
	}
}

// imperfect adds what good sensors have: sensitivities off by 1 %, noise of 0.2 g.
func imperfect(g [9][]float64, seed uint64) [9][]float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	for k := range g {
		gain := 1 + 0.01*r.NormFloat64()
		for i := range g[k] {
			g[k][i] = gain*g[k][i] + 0.2*r.NormFloat64()
		}
	}
	return g
}

// The check is silent for good sensors, and names the reversed or swapped channel.
func TestCheck(t *testing.T) {
	s := layout()
	n, ok := headform.FindNine(s)
	if !ok {
		t.Fatal("the arrangement was not found")
	}
	for seed := range uint64(3) {
		good := imperfect(record(struck, s), seed)
		v := n.Check(&good, samples, nil, fs)
		if v.Suspect || v.Reversed >= 0 || v.Swapped[0] >= 0 {
			t.Errorf("good sensors: %+v", v)
		}
		for i := range 9 {
			g := good
			g[i] = make([]float64, samples)
			for k, x := range good[i] {
				g[i][k] = -x
			}
			if v := n.Check(&g, samples, nil, fs); !v.Suspect || v.Reversed != i || v.Without > 0.05 {
				t.Errorf("channel %d reversed: %+v", i, v)
			}
			for j := range i {
				g := good
				g[i], g[j] = good[j], good[i]
				if v := n.Check(&g, samples, nil, fs); !v.Suspect || v.Swapped != [2]int{j, i} {
					t.Errorf("channels %d and %d swapped: %+v", j, i, v)
				}
			}
		}
	}
	// two mistakes at once: seen, and none is named that would mislead
	g := imperfect(record(struck, s), 9)
	for k := range samples {
		g[0][k], g[5][k] = -g[0][k], -g[5][k]
	}
	if v := n.Check(&g, samples, nil, fs); !v.Suspect || v.Reversed >= 0 || v.Swapped[0] >= 0 {
		t.Errorf("two reversed channels: %+v", v)
	}
	var still [9][]float64
	for k := range still {
		still[k] = make([]float64, samples)
	}
	if v := n.Check(&still, samples, nil, fs); v.Suspect || v.Residual != 0 {
		t.Errorf("nothing moves: %+v", v)
	}
}

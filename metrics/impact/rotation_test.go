package impact_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/impact"
)

// Worked by hand from the formula of Takhounts et al. 2013 (constants not
// confirmed against print).
func TestBrIC(t *testing.T) {
	near(t, "BrIC(30,30,30)", impact.BrIC([3]float64{30, 30, 30}), 0.98853112, 1e-7, "by hand")
	near(t, "BrIC(20,35,15)", impact.BrIC([3]float64{20, 35, 15}), 0.77329434, 1e-7, "by hand")
}

// 100 g with 5000 rad/s² in form A of Newman 1986, by hand; 0 stays 0.
func TestGAMBIT(t *testing.T) {
	v, da, db := impact.GAMBIT(100, 5000)
	near(t, "GAMBIT", v, 0.426911, 2e-6, "by hand")
	up, _, _ := impact.GAMBIT(100+1e-3, 5000)
	near(t, "by linear", da, (up-v)/1e-3, 1e-4, "finite difference")
	up, _, _ = impact.GAMBIT(100, 5000+1e-2)
	near(t, "by angular", db, (up-v)/1e-2, 1e-4, "finite difference")
	if v, da, db := impact.GAMBIT(0, 0); v != 0 || da != 0 || db != 0 {
		t.Errorf("GAMBIT(0, 0) = %g, %g, %g", v, da, db)
	}
	near(t, "linear only", first(impact.GAMBIT(250, 0)), 1, 1e-12, "definition")
	near(t, "angular only", first(impact.GAMBIT(0, 25000)), 1, 1e-12, "definition")
}

func first(v, _, _ float64) float64 { return v }

// Half-sine drives through an independent integration converged at 2 µs steps.
func TestDAMAGEVectors(t *testing.T) {
	for _, tc := range []struct {
		amplitude [3]float64
		duration  float64
		full      bool
		want, at  float64
	}{
		{[3]float64{5000, 0, 0}, 0.010, false, 0.251571, 0.01196},
		{[3]float64{0, 5000, 0}, 0.010, false, 0.335652, 0.01339},
		{[3]float64{0, 0, 5000}, 0.010, false, 0.403004, 0.01457},
		{[3]float64{3000, -4000, 2000}, 0.012, false, 0.412382, 0.01455},
		{[3]float64{0, 2000, 0}, 0.030, false, 0.267904, 0.02467},
		{[3]float64{0, 5000, 0}, 0.020, true, 0.322304, 0.01222},
	} {
		const rate = 100000
		// the record ends with the pulse: the largest deflection comes after it
		n := int(tc.duration*rate) + 1
		var alpha [3][]float64
		for k := range alpha {
			alpha[k] = make([]float64, n)
			for i := range n {
				turn := math.Pi * float64(i) / float64(n-1)
				if tc.full {
					turn *= 2
				}
				alpha[k][i] = tc.amplitude[k] * math.Sin(turn)
			}
		}
		got, at := impact.DAMAGE(alpha, rate)
		near(t, "DAMAGE", got, tc.want, 2e-5, "independent integration")
		if math.Abs(at-tc.at) > 2e-5 {
			t.Errorf("largest at %.5f s, want %.5f", at, tc.at)
		}
		shares := impact.DAMAGEShares(alpha, rate, at)
		length := 0.0
		for k := range 3 {
			length += math.Pow(shares[0][k]+shares[1][k]+shares[2][k], 2)
		}
		near(t, "shares add up", math.Sqrt(length), got, 1e-9, "superposition")
	}
}

// The model is linear and knows no preferred sign; coarse sampling changes little.
func TestDAMAGEIsLinear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.Float64Range(-4, 4).Draw(t, "factor")
		var a, b [3][]float64
		for axis := range a {
			amplitude := rapid.Float64Range(-5000, 5000).Draw(t, "amplitude")
			a[axis], b[axis] = make([]float64, 300), make([]float64, 300)
			for i := range 200 {
				a[axis][i] = amplitude * math.Sin(math.Pi*float64(i)/200)
				b[axis][i] = k * a[axis][i]
			}
		}
		va, _ := impact.DAMAGE(a, 20000)
		vb, _ := impact.DAMAGE(b, 20000)
		if math.Abs(vb-math.Abs(k)*va) > 1e-9*(1+va) {
			t.Fatalf("%g times the drive gives %g, want %g", k, vb, math.Abs(k)*va)
		}
	})
}

// A rate that no acquisition has must not make the tail long, nor a step that no
// number can hold make it endless.
func TestDAMAGEAtAbsurdRates(t *testing.T) {
	x := []float64{0, 1, 2, 1, 0}
	for _, rate := range []float64{1e-320, 1e-9, 1e12, 1e300} {
		v, at := impact.DAMAGE([3][]float64{x, x, x}, rate)
		if v < 0 || at < 0 {
			t.Errorf("at %g Hz: %g at %g s", rate, v, at)
		}
		impact.DAMAGEShares([3][]float64{x, x, x}, rate, at)
	}
}

func TestDAMAGEOfNothing(t *testing.T) {
	if v, at := impact.DAMAGE([3][]float64{}, 20000); v != 0 || at != 0 {
		t.Errorf("= %g at %g, want 0", v, at)
	}
}

func BenchmarkDAMAGE(b *testing.B) {
	var alpha [3][]float64
	for k := range alpha {
		alpha[k] = noisy(uint64(k), 80000).Values
	}
	for b.Loop() {
		impact.DAMAGE(alpha, 20000)
	}
}

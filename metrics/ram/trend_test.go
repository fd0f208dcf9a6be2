package ram_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"thudbook/metrics/fault"
	"thudbook/metrics/ram"
)

// A ram that loses 0.004 m²/s² a stroke while its operator raises the pressure
// to make up for it, and one that is always fired at one pressure.
func worn(rng *rand.Rand, n int, onePressure bool) (p, v, stroke []float64) {
	for i := range n {
		at := float64(3*i + 1)
		kpa := 140 + 0.02*at + 30*float64(i%2)
		if onePressure {
			kpa = 150
		}
		p, stroke = append(p, kpa), append(stroke, at)
		v = append(v, math.Sqrt(4+0.18*kpa-0.004*at)+0.02*rng.NormFloat64())
	}
	return p, v, stroke
}

func TestTrendAgainstLeastSquares(t *testing.T) {
	type set struct {
		P []float64 `json:"p"`
		V []float64 `json:"v"`
		N []float64 `json:"n"`
	}
	rng := rand.New(rand.NewPCG(7, 7))
	var cases []set
	for _, one := range []bool{false, true} {
		p, v, n := worn(rng, 60, one)
		cases = append(cases, set{p, v, n}, set{p[:5], v[:5], n[:5]})
	}
	var want []struct{ C, SE, T, DF float64 }
	script(t, "trend.py", cases, &want)
	for i, c := range cases {
		got, err := ram.FitTrend(c.P, c.V, c.N)
		if err != nil {
			t.Fatal(err)
		}
		const src = "numpy.linalg.lstsq and scipy.stats.t, testdata/stat/trend.py"
		near(t, "slope", got.PerStroke, want[i].C, 1e-9*math.Abs(want[i].C)+1e-12, src)
		near(t, "its standard error", got.SE, want[i].SE, 1e-8*want[i].SE, src)
		if float64(got.DF) != want[i].DF || got.First != c.N[0] || got.Last != c.N[len(c.N)-1] {
			t.Errorf("%+v, want %g degrees of freedom", got, want[i].DF)
		}
		in, err := got.Leaves(5.5, 0.2, 0.95)
		low := math.Abs(want[i].C) - want[i].T*want[i].SE
		if low <= 0 {
			if f, ok := fault.As(err); !ok || f.Code != ram.NoTrend {
				t.Errorf("a trend within its scatter: %+v %v", in, err)
			}
			continue
		}
		to := 5.5 - math.Copysign(0.2, -want[i].C)
		change := math.Abs(to*to - 5.5*5.5)
		near(t, "strokes", in.Value, change/math.Abs(want[i].C), 1e-6*in.Value, src)
		near(t, "strokes at the most", in.High, change/low, 1e-6*in.High, src)
	}
}

// The interval holds the true number of strokes as often as it says.
func TestTrendIntervalBySimulation(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 5))
	truth, held, told := (5.5*5.5-5.3*5.3)/0.004, 0, 0
	for range 2000 {
		got, err := ram.FitTrend(worn(rng, 80, false))
		if err != nil {
			t.Fatal(err)
		}
		in, err := got.Leaves(5.5, 0.2, 0.95)
		if err != nil {
			continue
		}
		told++
		if in.Low <= truth && truth <= in.High {
			held++
		}
	}
	// Binomial: 0.95 ± 4·√(0.95·0.05/2000) = 0.02.
	if share := float64(held) / float64(told); told < 1900 || share < 0.93 || share > 0.97 {
		t.Errorf("%d of %d intervals hold the truth, want 95 %%", held, told)
	}
}

func TestTrendFaults(t *testing.T) {
	for name, c := range map[string][3][]float64{
		"too few":         {{1, 2, 3}, {1, 2, 3}, {1, 2, 3}},
		"on one stroke":   {{1, 1, 1, 1}, {1, 2, 3, 4}, {5, 5, 5, 5}},
		"not a number":    {{1, 2, 3, 4}, {1, 2, math.NaN(), 3}, {1, 2, 3, 4}},
		"tied to strokes": {{1, 2, 3, 4, 5}, {1, 2, 3, 4, 5}, {1, 2, 3, 4, 5}},
	} {
		if _, err := ram.FitTrend(c[0], c[1], c[2]); err == nil {
			t.Errorf("%s: no error", name)
		} else if f, ok := fault.As(err); !ok || f.Fix == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	c, err := ram.FitCurve(pressures, speeds, true)
	if err != nil {
		t.Fatal(err)
	}
	narrow, err1 := c.Pressure(6, 0.95)
	wide, err2 := c.Widened(2).Pressure(6, 0.95)
	if err1 != nil || err2 != nil || wide.Value != narrow.Value || !(wide.High-wide.Low > 1.9*(narrow.High-narrow.Low)) {
		t.Errorf("widened %+v %v, as fitted %+v %v", wide, err2, narrow, err1)
	}
}

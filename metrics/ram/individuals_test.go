package ram_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"thudbook/metrics/ram"
)

// The worked example of the NIST/SEMATECH e-Handbook of Statistical Methods,
// section 6.3.2.2, flow rates of ten batches; data and limits from memory. The
// handbook rounds d2 to 1.128 and the mean moving range to 1.8778.
func TestIndividualsOfTheHandbook(t *testing.T) {
	flow := []float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	c, err := ram.NewIndividuals(flow)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		what           string
		got, want, tol float64
	}{
		{"centre", c.Target, 50.81, 1e-9}, {"upper limit", c.High, 55.8041, 0.002}, {"lower limit", c.Low, 45.8159, 0.002},
		{"limit of the moving range (D4 = 3.267)", c.RangeHigh, 3.267 * 1.8778, 0.002},
		{"E2", (c.High - c.Target) / 1.87777777777778, 2.66, 0.002},
	} {
		if math.Abs(x.got-x.want) > x.tol {
			t.Errorf("%s: %.5f, want %.5f", x.what, x.got, x.want)
		}
	}
	for _, v := range flow {
		if s := c.Signal(v); s != ram.InControl {
			t.Errorf("%g signals %q; the handbook finds the process in control", v, s)
		}
	}
	if c.Signal(55.9) != ram.Up || c.Signal(45.7) != ram.Down {
		t.Error("values beyond the limits do not signal")
	}
	if _, err := ram.NewIndividuals([]float64{5, 5, 5}); err == nil {
		t.Error("equal values made a chart")
	}
}

// How often a good value lies outside limits that come from few values, by
// simulation with a fixed seed; the comment of Individuals states the figures.
func TestIndividualsFromFewValues(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 17))
	for _, x := range []struct {
		n      int
		lo, hi float64 // good values for one outside
	}{{10, 39, 45}, {30, 115, 140}} {
		outside, all := 0, 0
		for range 200_000 {
			v := make([]float64, x.n)
			for i := range v {
				v[i] = rng.NormFloat64()
			}
			c, err := ram.NewIndividuals(v)
			if err != nil {
				t.Fatal(err)
			}
			if all++; c.Signal(rng.NormFloat64()) != ram.InControl {
				outside++
			}
		}
		if one := float64(all) / float64(outside); one < x.lo || one > x.hi {
			t.Errorf("limits from %d values: one good value in %.0f lies outside, want %g to %g", x.n, one, x.lo, x.hi)
		} else {
			t.Logf("limits from %d values: one in %.0f", x.n, one)
		}
	}
}

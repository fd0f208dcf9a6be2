package headform_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/headform"
	"thudbook/metrics/unit"
)

// single makes a motion of one sample; linear in m/s².
func single(linear, rate, acceleration [3]float64) headform.Motion {
	var m headform.Motion
	for k := range 3 {
		m.Linear[k] = []float64{linear[k] / unit.G0}
		m.Rate[k] = []float64{rate[k]}
		m.Acceleration[k] = []float64{acceleration[k]}
	}
	return m
}

// Rigid body kinematics by hand: α×r = (−30, −75, −40), ω×(ω×r) = (5.75, 5, −13).
func TestAtCentre(t *testing.T) {
	m := single([3]float64{100, -50, 20}, [3]float64{20, -10, 5}, [3]float64{3000, -2000, 1500})
	// the centre lies at r = (10, −20, 30) mm from the sensor, so the sensor at −r from the centre
	p := [3]float64{-10, 20, -30}
	got := headform.AtCentre([3][]float64{}, m, [3][3]float64{p, p, p})
	for k, want := range [3]float64{75.75, -120, -33} {
		if v := got[k][0] * unit.G0; math.Abs(v-want) > 1e-9 {
			t.Errorf("axis %d: %.12g m/s², want %g (worked by hand)", k, v, want)
		}
	}
}

// Accelerometers of different places: each axis is moved by its own arm, so each
// component equals that of moving all three by this arm.
func TestAtCentreOwnArms(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		vector := func(limit float64, name string) (v [3]float64) {
			for k := range v {
				v[k] = rapid.Float64Range(-limit, limit).Draw(t, name)
			}
			return v
		}
		m := single(vector(1000, "a"), vector(50, "w"), vector(8000, "alpha"))
		arms := [3][3]float64{vector(80, "p"), vector(80, "q"), vector(80, "r")}
		own := headform.AtCentre([3][]float64{}, m, arms)
		for k := range 3 {
			all := headform.AtCentre([3][]float64{}, m, [3][3]float64{arms[k], arms[k], arms[k]})
			if own[k][0] != all[k][0] {
				t.Fatalf("axis %d: %g, want %g", k, own[k][0], all[k][0])
			}
		}
		still := headform.AtCentre([3][]float64{}, m, [3][3]float64{})
		for k := range 3 {
			if still[k][0] != m.Linear[k][0] {
				t.Fatalf("at the centre the acceleration changed from %g to %g", m.Linear[k][0], still[k][0])
			}
		}
	})
}

func TestAtCentrePanicsOnLengths(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("no panic for different lengths")
		}
	}()
	m := single([3]float64{}, [3]float64{}, [3]float64{})
	m.Rate[1] = nil
	headform.AtCentre([3][]float64{}, m, [3][3]float64{})
}

package score_test

import (
	"math"
	"testing"

	"thudbook/metrics/score"
)

// Sensors away from the centre of gravity: a rigid body that turns about its
// centre shows them a linear acceleration, and moving it there takes it away.
func TestMovedToCentre(t *testing.T) {
	s, m := newShot(), shotMap()
	arm := [3]float64{0.030, -0.020, 0.040} // m, from the centre
	w := func(i int) (v [3]float64) {
		x := float64(i-shotOnset) / 200
		if x > 0 {
			for k, gain := range []float64{8, -25, 12} {
				v[k] = 3 * gain * x * x * x * x * math.Exp(-2*x)
			}
		}
		return v
	}
	for i := range shotSamples {
		now, before, after := w(i), w(i-1), w(i+1)
		var alpha [3]float64
		for k := range alpha {
			alpha[k] = (after[k] - before[k]) * 20000 / 2
			s.values[3+k][i] = now[k]
		}
		for k := range 3 {
			p, q := (k+1)%3, (k+2)%3
			dot := now[0]*arm[0] + now[1]*arm[1] + now[2]*arm[2]
			square := now[0]*now[0] + now[1]*now[1] + now[2]*now[2]
			s.values[k][i] = (alpha[p]*arm[q] - alpha[q]*arm[p] + now[k]*dot - arm[k]*square) / 9.80665
		}
	}
	for k := range 3 {
		m.Channels[k].PositionMM = [3]float64{1000 * arm[0], 1000 * arm[1], 1000 * arm[2]}
	}
	moved := scoreText(t, s.csv(), score.Options{Map: m})
	for k := range 3 {
		m.Channels[k].PositionMM = [3]float64{}
	}
	still := scoreText(t, s.csv(), score.Options{Map: m})
	a, b := moved.Results["peak_linear_acceleration"].Value, still.Results["peak_linear_acceleration"].Value
	if b < 4 || a > 0.02*b || !moved.Process.MovedToCG || still.Process.MovedToCG {
		t.Errorf("peak at the sensor %g g, at the centre %g g: want a tiny one", b, a)
	}
}

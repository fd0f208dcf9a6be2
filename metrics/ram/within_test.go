package ram_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"thudbook/metrics/ram"
)

// The probability within a tolerance against simulation of the whole chain: a
// known ram fires ten calibration shots and one more; the probability that a
// shot is at most as fast as that one, predicted from the ten, must be uniform
// over many such series. The check is Kolmogorov's, critical value 1.63/√N at
// 1 % (any table), and the band of the true speed ±0.02 m/s is met as often as
// predicted on the average.
func TestProbabilityWithinBySimulation(t *testing.T) {
	const series = 4000
	for name, equalSpeedSD := range map[string]bool{"squares scatter equally": false, "speeds scatter equally": true} {
		rng := rand.New(rand.NewPCG(4, 4))
		const a, b, at = -5.86, 0.1223, 425.0
		shot := func(p float64) float64 {
			if equalSpeedSD {
				return math.Sqrt(a+b*p) + 0.02*rng.NormFloat64()
			}
			return math.Sqrt(a + b*p + 0.25*rng.NormFloat64())
		}
		truth := math.Sqrt(a + b*at)
		u := make([]float64, 0, series)
		predicted, met := 0.0, 0
		v := make([]float64, len(pressures))
		for range series {
			for i, p := range pressures {
				v[i] = shot(p)
			}
			c, err := ram.FitCurve(pressures, v, equalSpeedSD)
			if err != nil {
				t.Fatal(err)
			}
			next := shot(at)
			below, err := c.ProbabilityWithin(at, next/2, next/2) // between 0 and next
			if err != nil {
				t.Fatal(err)
			}
			u = append(u, below)
			within, err := c.ProbabilityWithin(at, truth, 0.02)
			if err != nil {
				t.Fatal(err)
			}
			predicted += within / series
			if math.Abs(next-truth) <= 0.02 {
				met++
			}
		}
		slices.Sort(u)
		distance := 0.0
		for i, x := range u {
			distance = max(distance, math.Abs(x-float64(i)/series), math.Abs(x-float64(i+1)/series))
		}
		if distance > 1.63/math.Sqrt(series) {
			t.Errorf("%s: predicted probabilities are off a uniform distribution by %g, at most %g wanted (Kolmogorov, 1 %%)",
				name, distance, 1.63/math.Sqrt(series))
		}
		// A prediction from ten shots spreads a little wider than the truth.
		share := float64(met) / series
		if predicted > share+0.01 || predicted < share-0.08 {
			t.Errorf("%s: within ±0.02 m/s predicted %.3f, met %.3f", name, predicted, share)
		}
	}
}

package headform

import (
	"math"

	"thudbook/metrics/unit"
)

// Verdict says whether nine signals can be those of one rigid body.
type Verdict struct {
	// Residual is how far the products of the angular velocities that the nine show
	// directly are from those of the integrated angular acceleration, as a part of
	// what the accelerations themselves could make: root mean square over the
	// samples. Errors of sensitivity and mounting of a few percent give as much.
	Residual float64
	Suspect  bool // Residual is larger than the usual errors explain
	// Reversed or Swapped name the one mistake that would explain it; −1: none does,
	// or more than one.
	Reversed int
	Swapped  [2]int
	Without  float64 // Residual with that mistake undone
}

// Limits of Check; common practice, no published source.
const (
	usualResidual = 0.05
	explains      = 3   // a mistake is named if undoing it divides the residual by this, to the usual one
	unique        = 1.5 // and if every other leaves so many times as much
)

// Check compares what the nine signals say twice: the products of the angular
// velocities, once from the differences of the signals at each instant and once from
// integrating the angular acceleration from rest at the first sample. A reversed or
// swapped channel spoils both in different ways. A channel that carries less than
// about a twentieth of the acceleration can be wrong and stay unseen. samples is how
// much of the record is looked at, beginning at its start; drift spoils the rest.
func (n *Nine) Check(g *[9][]float64, samples int, timeS []float64, rateHz float64) Verdict {
	c := check{nine: n, samples: samples, timeS: timeS, rateHz: rateHz}
	c.scale = c.accelerations(g)
	v := Verdict{Residual: c.residual(g), Reversed: -1, Swapped: [2]int{-1, -1}}
	if !(v.Residual > usualResidual) {
		return v
	}
	v.Suspect = true
	best, second := math.Inf(1), math.Inf(1)
	offer := func(r float64, reversed int, swapped [2]int) {
		if r < best {
			best, second = r, best
			v.Reversed, v.Swapped = reversed, swapped
		} else if r < second {
			second = r
		}
	}
	for i := range 9 {
		h := *g
		h[i] = negative(g[i][:samples])
		offer(c.residual(&h), i, [2]int{-1, -1})
		for j := range i {
			h := *g
			h[i], h[j] = g[j], g[i]
			offer(c.residual(&h), -1, [2]int{j, i})
		}
	}
	v.Without = best
	if best > usualResidual || best*explains > v.Residual || best*unique > second {
		v.Reversed, v.Swapped, v.Without = -1, [2]int{-1, -1}, 0
	}
	return v
}

// check is one comparison.
type check struct {
	nine    *Nine
	samples int
	timeS   []float64
	rateHz  float64
	scale   float64
}

// accelerations is the sum of squares of what the central accelerations would make
// at the end of an arm of the mean length, in (1/s²)².
func (c *check) accelerations(g *[9][]float64) float64 {
	arm := 0.0
	for k := range 3 {
		arm += (math.Abs(c.nine.armM[k][0]) + math.Abs(c.nine.armM[k][1])) / 6
	}
	sum := 0.0
	for i := range c.samples {
		for _, at := range c.nine.Centre {
			a := unit.G0 * g[at][i] / arm
			sum += a * a
		}
	}
	return sum
}

// residual is Verdict.Residual for these signals.
func (c *check) residual(g *[9][]float64) float64 {
	if !(c.scale > 0) {
		return 0
	}
	var w, before [3]float64
	sum := 0.0
	for i := range c.samples {
		alpha, product := c.nine.at(g, i)
		if i > 0 {
			half := 0.5 / c.rateHz
			if c.timeS != nil {
				half = (c.timeS[i] - c.timeS[i-1]) / 2
			}
			for k := range 3 {
				w[k] += half * (before[k] + alpha[k])
			}
		}
		before = alpha
		for k := range 3 {
			e := product[k] - w[(k+1)%3]*w[(k+2)%3]
			sum += e * e
		}
	}
	return math.Sqrt(sum / c.scale)
}

func negative(v []float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = -x
	}
	return out
}

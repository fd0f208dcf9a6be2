// Package gum propagates measurement uncertainty after JCGM 100:2008 (GUM), first
// order, uncorrelated inputs. The inputs here are the sensitivities of the
// channels, each known to a relative standard uncertainty: a sensitivity that is
// wrong by a factor s multiplies every sample of its channel by s, so the
// derivative of a metric to s follows from the samples themselves.
package gum

import "math"

// CoverageFactor k of the expanded uncertainties, about 95 % for a normal
// distribution (JCGM 100:2008, 6.3.3 and G.1.3).
const CoverageFactor = 2

// Combine is the combined standard uncertainty of uncorrelated contributions,
// each already multiplied by its sensitivity coefficient (JCGM 100:2008, equation 10).
func Combine(contributions ...float64) float64 {
	sum := 0.0
	for _, c := range contributions {
		sum += c * c
	}
	return math.Sqrt(sum)
}

// Expanded is the combined uncertainty times the coverage factor.
func Expanded(contributions ...float64) float64 {
	return CoverageFactor * Combine(contributions...)
}

// Vector is a signal of one to three orthogonal components.
type Vector struct {
	Axes      [][]float64 // the components
	Magnitude []float64   // their resultant
	Relative  []float64   // relative standard uncertainty of each component's sensitivity
}

// share is the derivative of the resultant at sample i to the factor of component k.
func (v Vector) share(k, i int) float64 {
	if v.Magnitude[i] == 0 {
		return 0
	}
	return v.Axes[k][i] * v.Axes[k][i] / v.Magnitude[i]
}

// combine is the expanded uncertainty for the given derivatives to the factors.
func (v Vector) combine(derivative func(k int) float64) float64 {
	var c [3]float64
	for k := range v.Axes {
		c[k] = derivative(k) * v.Relative[k]
	}
	return Expanded(c[:]...)
}

// Sample is the expanded uncertainty of the resultant at sample i, as for a peak.
func (v Vector) Sample(i int) float64 {
	return v.combine(func(k int) float64 { return v.share(k, i) })
}

// SeverityIndex is the expanded uncertainty of ∫ a^2.5 dt between two samples;
// at gives the time of a sample in seconds.
func (v Vector) SeverityIndex(first, last int, at func(int) float64) float64 {
	return v.combine(func(k int) float64 {
		return trapezoid(first, last, at, func(i int) float64 {
			m := v.Magnitude[i]
			return 2.5 * m * math.Sqrt(m) * v.share(k, i)
		})
	})
}

// HIC is the expanded uncertainty of a head injury criterion whose window runs
// from sample first to sample last. The window is the best one, so a small shift
// of it changes the value in second order only and is left out.
func (v Vector) HIC(first, last int, at func(int) float64) float64 {
	span := at(last) - at(first)
	if !(span > 0) {
		return 0
	}
	mean := trapezoid(first, last, at, func(i int) float64 { return v.Magnitude[i] }) / span
	return v.combine(func(k int) float64 {
		return 2.5 * mean * math.Sqrt(mean) * trapezoid(first, last, at, func(i int) float64 { return v.share(k, i) })
	})
}

// Components is the expanded uncertainty of the length of a vector whose
// components scale with their factors, as of a velocity change.
func (v Vector) Components(value []float64) float64 {
	length := Combine(value...)
	if length == 0 {
		return 0
	}
	return v.combine(func(k int) float64 { return value[k] * value[k] / length })
}

// Held is the expanded uncertainty of a level that the resultant meets at two
// points a fixed time apart, as the 3 ms clip: value and slope of the resultant
// differ between the points, and the interval gives way. Each point lies at a
// fraction of the cell from its sample to the next.
func (v Vector) Held(from, to Point) float64 {
	slopeFrom, slopeTo := v.slope(from.Sample), v.slope(to.Sample)
	return v.combine(func(k int) float64 {
		a, b := v.shareAt(k, from), v.shareAt(k, to)
		if slopeFrom-slopeTo <= 0 {
			return (a + b) / 2
		}
		return a + slopeFrom*(b-a)/(slopeFrom-slopeTo)
	})
}

// Point is a place in the cell from a sample to the next; Fraction is 0 to 1.
type Point struct {
	Sample   int
	Fraction float64
}

// slope is the rise of the resultant over the cell behind a sample.
func (v Vector) slope(i int) float64 {
	if i+1 >= len(v.Magnitude) {
		return 0
	}
	return v.Magnitude[i+1] - v.Magnitude[i]
}

func (v Vector) shareAt(k int, p Point) float64 {
	a := v.share(k, p.Sample)
	if p.Sample+1 >= len(v.Magnitude) {
		return a
	}
	return a + p.Fraction*(v.share(k, p.Sample+1)-a)
}

// trapezoid integrates f over the samples first to last.
func trapezoid(first, last int, at func(int) float64, f func(int) float64) float64 {
	sum := 0.0
	if last <= first {
		return 0
	}
	before, start := f(first), at(first)
	for i := first + 1; i <= last; i++ {
		now, end := f(i), at(i)
		sum += (end - start) * (before + now) / 2
		before, start = now, end
	}
	return sum
}

// Package gum propagates measurement uncertainty after JCGM 100:2008 (GUM), first
// order, uncorrelated inputs.
//
// The inputs are, for each component of a vector: its sensitivity; the share of the
// other components that it sees (misalignment and transverse sensitivity); its
// offset; its noise; and for all of them the time base. A sensitivity that is wrong
// by a factor 1+s multiplies every sample of its component, so what it does to a
// result follows from the samples themselves, and so for the other inputs. Effect
// holds these derivatives, Inputs the standard uncertainties, Budget their products.
//
// Left out: that the largest of noisy samples is too large on the average, and what
// the filter's tolerance and the mounting of the sensors do.
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

// Rectangular is the standard uncertainty of a value that may lie anywhere within
// ± halfWidth (JCGM 100:2008, 4.3.7).
func Rectangular(halfWidth float64) float64 { return halfWidth / math.Sqrt(3) }

// Source names an input.
type Source string

// The sources, in the order of a budget.
const (
	Sensitivity Source = "sensitivity"
	CrossAxis   Source = "cross axis"
	Offset      Source = "offset"
	Noise       Source = "noise"
	TimeBase    Source = "time base"
	FlagWidth   Source = "flag width" // of a light gate
	Edges       Source = "edges"      // of a light gate's signal
)

// Inputs are the standard uncertainties for each component, in the unit of its
// samples unless it says relative.
type Inputs struct {
	Sensitivity [3]float64 // relative
	// CrossAxis is that of the share of each other component, relative. CrossUnknown
	// says that nobody stated it: then it is 0 and the budget says so.
	CrossAxis    [3]float64
	CrossUnknown [3]bool
	Offset       [3]float64
	Noise        [3]float64 // of one sample after the filter
	White        [3]float64 // of one sample before it, independent from sample to sample
	TimeBase     float64    // relative
}

// Effect is what the inputs do to a result: derivatives, by component.
type Effect struct {
	Components int
	// Share[k][j] is the change of the result when component j is added once to
	// component k; k = j is the sensitivity.
	Share    [3][3]float64
	Offset   [3]float64 // when 1 is added to every sample of component k
	Noise    [3]float64 // when 1 is added to the one sample that counts
	White    [3]float64 // root of the sum of squares over the samples
	TimeBase float64    // when every time is stretched by a factor 1+1
}

// Contribution is one row of a budget.
type Contribution struct {
	Source    Source
	Component int     // 0, 1, 2; −1 for what concerns all
	Input     float64 // standard uncertainty of the input, see Inputs
	Standard  float64 // what it makes of the result, in its unit
	Unknown   bool    // the input was not stated, and is not in the sum
}

// Budget is the table of contributions to the uncertainty of one result.
type Budget []Contribution

// Expanded is the expanded uncertainty of the result (k = 2).
func (b Budget) Expanded() float64 {
	sum := 0.0
	for _, c := range b {
		sum += c.Standard * c.Standard
	}
	return CoverageFactor * math.Sqrt(sum)
}

// Scaled multiplies what every input makes of the result, as for a result that
// depends on this one with the given derivative.
func (b Budget) Scaled(derivative float64) Budget {
	out := make(Budget, len(b))
	for i, c := range b {
		c.Standard *= math.Abs(derivative)
		out[i] = c
	}
	return out
}

// Budget puts inputs and derivatives together. Inputs of no effect are left out,
// those that nobody stated are named.
func (e Effect) Budget(in Inputs) Budget {
	b := make(Budget, 0, 4*e.Components+1)
	row := func(s Source, k int, input, standard float64) {
		if standard > 0 {
			b = append(b, Contribution{Source: s, Component: k, Input: input, Standard: standard})
		}
	}
	for k := range e.Components {
		row(Sensitivity, k, in.Sensitivity[k], in.Sensitivity[k]*math.Abs(e.Share[k][k]))
	}
	for k := range e.Components {
		if in.CrossUnknown[k] {
			b = append(b, Contribution{Source: CrossAxis, Component: k, Unknown: true})
			continue
		}
		others := e.Share[k]
		others[k] = 0
		row(CrossAxis, k, in.CrossAxis[k], in.CrossAxis[k]*Combine(others[:e.Components]...))
	}
	for k := range e.Components {
		row(Offset, k, in.Offset[k], in.Offset[k]*math.Abs(e.Offset[k]))
	}
	for k := range e.Components {
		if e.White[k] > 0 {
			row(Noise, k, in.White[k], in.White[k]*e.White[k])
		} else {
			row(Noise, k, in.Noise[k], in.Noise[k]*math.Abs(e.Noise[k]))
		}
	}
	row(TimeBase, -1, in.TimeBase, in.TimeBase*math.Abs(e.TimeBase))
	return b
}

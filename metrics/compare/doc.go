// Package compare sets two or more samples of a metric side by side: means and
// their difference with an interval (Welch), probabilities corrected for many
// comparisons (Holm), the size of an effect (Hedges g), exact intervals and
// tests of proportions, and bootstrap intervals.
//
// All values of one comparison have one unit, and so have differences and
// their intervals. A small p says that the samples differ by more than their
// scatter explains; it says nothing about injury, and an interval that holds
// zero does not show that two designs are equal.
package compare

import (
	"fmt"
	"math"

	"thudbook/metrics/fault"
)

// The codes of faults found here.
const (
	TooFewValues fault.Code = "too_few_values" // fewer than two in a sample
	BadValue     fault.Code = "bad_value"      // not finite, or too large to square
	NoScatter    fault.Code = "no_scatter"     // nothing to measure a difference by
	BadCount     fault.Code = "bad_count"      // successes and trials that do not fit
)

// Sample is the values of one group, for instance peak g of one face guard at
// one location and speed.
type Sample struct {
	Name   string
	Values []float64
}

// Summary is a sample in three numbers.
type Summary struct {
	Name string
	N    int
	Mean float64
	SD   float64 // with N-1
}

// Summarise checks a sample and gives its mean and standard deviation. Fewer
// than two values, or one that is not finite, is a *fault.Error naming the
// sample and the place.
func Summarise(s Sample) (Summary, error) {
	if len(s.Values) < 2 {
		return Summary{}, &fault.Error{Code: TooFewValues,
			What: fmt.Sprintf("sample %q has %d values; a comparison needs two at least", s.Name, len(s.Values)),
			Fix:  "add shots to it, or leave it out of the comparison"}
	}
	if err := finite(s); err != nil {
		return Summary{}, err
	}
	out := Summary{Name: s.Name, N: len(s.Values)}
	out.Mean, out.SD = meanSD(s.Values)
	return out, nil
}

func finite(s Sample) error {
	for i, v := range s.Values {
		if !(math.Abs(v) < 1e150) {
			return &fault.Error{Code: BadValue,
				What: fmt.Sprintf("sample %q, value %d is %g, which is no result", s.Name, i+1, v),
				Fix:  "correct the value, or leave the shot out with its reason"}
		}
	}
	return nil
}

// meanSD works about the first value, so that leading digits that all values
// share cost nothing.
func meanSD(v []float64) (mean, sd float64) {
	n, origin := float64(len(v)), v[0]
	for _, x := range v {
		mean += (x - origin) / n
	}
	var ss, off float64
	for _, x := range v {
		d := x - origin - mean
		ss += d * d
		off += d
	}
	return origin + mean, math.Sqrt(max(ss-off*off/n, 0) / (n - 1))
}

func wantLevel(level float64) {
	if !(level > 0 && level < 1) {
		panic("compare: a confidence level is between 0 and 1")
	}
}

package interlab

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"

	"thudbook/metrics/fault"
)

// ANOVA is a one-way analysis of variance. Means and standard deviations have
// the unit of the data, mean squares its square.
type ANOVA struct {
	Groups, N                 int // N counts all values
	Mean                      float64
	DFBetween, DFWithin       int
	MeanSquareBetween         float64
	MeanSquareWithin          float64 // its root is the residual standard deviation
	GroupMeans, GroupSDs      []float64
	GroupSizes                []int
	centredMeans, centredSums []float64 // by group, about the first value
	centredMean               float64
}

// usable: finite, and small enough for its square to be finite.
func usable(v float64) bool { return math.Abs(v) < 1e150 }

// OneWay analyses the groups, which may differ in size; empty ones are left
// out. It subtracts the first value from all before anything is summed, takes
// each mean in two passes, and sums squares about the means: data that share
// many leading digits keep theirs.
//
// Two groups and one group of two values are needed at least; otherwise, and
// for values that are not finite (or beyond 1e150), the error is a *fault.Error.
func OneWay(groups [][]float64) (ANOVA, error) {
	var a ANOVA
	var origin float64
	for g, values := range groups {
		for i, v := range values {
			if !usable(v) {
				return ANOVA{}, &fault.Error{Code: BadResult,
					What: fmt.Sprintf("value %d of group %d is %g, which is no result", i+1, g+1, v),
					Fix:  "correct the value, or leave it out of the table"}
			}
			if a.N == 0 {
				origin = v
			}
			a.N++
		}
		if len(values) > 0 {
			a.Groups++
		}
	}
	a.DFBetween, a.DFWithin = a.Groups-1, a.N-a.Groups
	if a.Groups < 2 {
		return ANOVA{}, &fault.Error{Code: TooFewLaboratories,
			What: fmt.Sprintf("%d of the groups hold values; two are needed at least", a.Groups),
			Fix:  "add the results of another group"}
	}
	if a.DFWithin < 1 {
		return ANOVA{}, &fault.Error{Code: TooFewReplicates,
			What: "no group holds more than one value, so nothing tells how well one of them repeats",
			Fix:  "add replicates"}
	}
	for _, values := range groups {
		if len(values) > 0 {
			a.add(values, origin)
		}
	}
	a.finish(origin)
	return a, nil
}

func (a *ANOVA) add(values []float64, origin float64) {
	n := float64(len(values))
	var sum float64
	for _, v := range values {
		sum += v - origin
	}
	mean := sum / n
	var rest float64
	for _, v := range values {
		rest += v - origin - mean
	}
	mean += rest / n
	var ss, off float64
	for _, v := range values {
		d := v - origin - mean
		ss += d * d
		off += d
	}
	ss = max(ss-off*off/n, 0)
	sd := math.NaN()
	if len(values) > 1 {
		sd = math.Sqrt(ss / (n - 1))
	}
	a.GroupSizes = append(a.GroupSizes, len(values))
	a.GroupSDs = append(a.GroupSDs, sd)
	a.GroupMeans = append(a.GroupMeans, origin+mean)
	a.centredMeans = append(a.centredMeans, mean)
	a.centredSums = append(a.centredSums, ss)
}

func (a *ANOVA) finish(origin float64) {
	for g, m := range a.centredMeans {
		a.centredMean += float64(a.GroupSizes[g]) * m
	}
	a.centredMean /= float64(a.N)
	a.Mean = origin + a.centredMean
	var between, within float64
	for g, m := range a.centredMeans {
		d := m - a.centredMean
		between += float64(a.GroupSizes[g]) * d * d
		within += a.centredSums[g]
	}
	a.MeanSquareBetween = between / float64(a.DFBetween)
	a.MeanSquareWithin = within / float64(a.DFWithin)
}

// F is the ratio of the mean squares, and the probability of one as large when
// all groups share one mean. Without any scatter within the groups F is +Inf,
// and with no scatter at all NaN.
func (a ANOVA) F() (f, p float64) {
	f = a.MeanSquareBetween / a.MeanSquareWithin
	switch {
	case math.IsNaN(f):
		return f, f
	case math.IsInf(f, 1):
		return f, 0
	}
	d1, d2 := float64(a.DFBetween), float64(a.DFWithin)
	return f, mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}

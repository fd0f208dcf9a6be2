package ram

import (
	"fmt"
	"math"

	"thudbook/metrics/fault"
)

// Signal says on which side a control chart went beyond its limit.
type Signal string

// The sides. For measured less predicted speed, Down is a loss of speed.
const (
	InControl Signal = ""
	Up        Signal = "up"
	Down      Signal = "down"
)

// Baseline is what a control chart compares with: the level and scatter of a
// process that was left alone. Both are in the unit of the values.
//
// Tables of run lengths are for known parameters, and estimates from few shots
// fall far short of them (for the EWMA chart see Jones, Champ and Rigdon,
// Technometrics 43 (2001) 156-167). With a target and a scatter from 20 shots,
// 45 to 50 of 100 charts give a false alarm within 100 shots instead of 18; with
// 50 shots about 35. Wider limits, L = 3.8 or H = 8, bring 20 shots back to
// about 20 in 100, and find a loss of 1 % in speed after 2 to 4 shots when the
// shots scatter by 0.3 %, 5 to 6 at 0.5 %, and 25 to 30 at 1 %.
// TestDriftInPractice computes these figures.
type Baseline struct {
	N      int
	Target float64 // mean
	Sigma  float64 // from the mean moving range
}

// d2Pair is the mean range of two values of a normal distribution with
// standard deviation 1: 2/√π, tabulated as 1.128.
const d2Pair = 1.1283791670955126

// EstimateBaseline takes the level as the mean, and the scatter from the mean
// of the moving ranges of neighbours over 1.128, which a slow drift hardly
// widens. The values are in the order of the shots; those that signalled on a
// chart do not belong among them. It needs two finite values that are not all
// equal; otherwise the error is a *fault.Error.
func EstimateBaseline(x []float64) (Baseline, error) {
	if len(x) < 2 {
		return Baseline{}, &fault.Error{Code: TooFewShots,
			What: fmt.Sprintf("%d values make no baseline for a control chart", len(x)),
			Fix:  "collect 20 shots at least before charting"}
	}
	b := Baseline{N: len(x)}
	ranges := 0.0
	for i, v := range x {
		if err := finitePoint(i, v); err != nil {
			return Baseline{}, err
		}
		b.Target += (v - x[0]) / float64(b.N)
		if i > 0 {
			ranges += math.Abs(v - x[i-1])
		}
	}
	b.Target += x[0]
	b.Sigma = ranges / float64(b.N-1) / d2Pair
	if !(b.Sigma > 0) {
		return Baseline{}, &fault.Error{Code: TooFewShots,
			What: fmt.Sprintf("all %d values of the baseline are equal: there is no scatter to chart by", b.N),
			Fix:  "record the values with more digits, or collect more shots"}
	}
	return b, nil
}

func finitePoint(i int, v float64) error {
	if math.Abs(v) < 1e150 {
		return nil
	}
	return &fault.Error{Code: BadPoint,
		What: fmt.Sprintf("value %d for the control chart is %g", i+1, v),
		Fix:  "leave the shot off the chart, with its reason"}
}

func badChart(what string) error {
	return &fault.Error{Code: BadChart, What: what, Fix: "correct the settings of the control chart"}
}

func positive(v float64) bool { return v > 0 && v < 1e150 }

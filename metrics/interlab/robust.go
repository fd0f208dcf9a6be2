package interlab

import (
	"fmt"
	"math"
	"slices"

	"thudbook/metrics/fault"
)

// AlgorithmAConstants are the two factors of algorithm A.
type AlgorithmAConstants struct {
	MAD   float64 // from the median absolute deviation to a standard deviation
	Scale float64 // makes up for the results drawn in
}

// PrintedConstants are the factors as ISO 13528 prints them, ExactConstants
// those they are rounded from: 1/Φ⁻¹(3/4), and the root of the reciprocal of
// the variance of a normal variable drawn in at 1.5 standard deviations.
func PrintedConstants() AlgorithmAConstants { return AlgorithmAConstants{1.483, 1.134} }

// ExactConstants: see PrintedConstants.
func ExactConstants() AlgorithmAConstants {
	return AlgorithmAConstants{1.482602218505602, 1.133392655462487}
}

// Robust is a mean and standard deviation that few wild results hardly move.
type Robust struct {
	N          int
	Mean       float64 // x*
	SD         float64 // s*
	UMean      float64 // standard uncertainty of x*: 1.25 s*/√N
	Iterations int
	// MADZero: more than half of the results were equal, and the iteration
	// began from the ordinary standard deviation instead of the median
	// absolute deviation.
	MADZero bool
}

const (
	algorithmATolerance  = 1e-10 // relative; the standard asks for three digits
	algorithmAIterations = 10000
)

// AlgorithmA finds the robust mean and standard deviation of one result per
// laboratory (ISO 13528:2015, C.3, Huber's proposal 2; not confirmed against
// print), and is iterated until neither changes by more than 1e-10 of the
// standard deviation. It needs three finite results; every error is a
// *fault.Error.
func AlgorithmA(values []float64, c AlgorithmAConstants) (Robust, error) {
	if !(c.MAD > 0) || !(c.Scale > 0) {
		panic("interlab: constants of algorithm A are above zero")
	}
	r := Robust{N: len(values)}
	if r.N < 3 {
		return Robust{}, &fault.Error{Code: TooFewLaboratories,
			What: fmt.Sprintf("algorithm A got %d results; three are needed at least", r.N),
			Fix:  "add the results of other laboratories"}
	}
	for i, v := range values {
		if !usable(v) {
			return Robust{}, &fault.Error{Code: BadResult,
				What: fmt.Sprintf("result %d for algorithm A is %g", i+1, v), Fix: "correct the result, or leave it out"}
		}
	}
	x := slices.Sorted(slices.Values(values))
	origin := median(x) // everything is computed about it
	for i := range x {
		x[i] -= origin
	}
	deviation := make([]float64, len(x))
	for i, v := range x {
		deviation[i] = math.Abs(v)
	}
	slices.Sort(deviation)
	mean, sd := 0.0, c.MAD*median(deviation)
	if sd == 0 {
		_, sd = meanSD(x)
		r.MADZero = true
	}
	drawn := make([]float64, len(x))
	for r.Iterations < algorithmAIterations {
		r.Iterations++
		for i, v := range x {
			drawn[i] = min(max(v, mean-1.5*sd), mean+1.5*sd)
		}
		m, s := meanSD(drawn)
		s *= c.Scale
		settled := math.Abs(m-mean) <= algorithmATolerance*sd && math.Abs(s-sd) <= algorithmATolerance*sd
		mean, sd = m, s
		if settled {
			r.Mean, r.SD = origin+mean, sd
			r.UMean = 1.25 * sd / math.Sqrt(float64(r.N))
			return r, nil
		}
	}
	return Robust{}, &fault.Error{Code: NotConverged,
		What: fmt.Sprintf("algorithm A did not settle in %d rounds", r.Iterations),
		Fix:  "look at the results: most of them may be equal"}
}

func meanSD(x []float64) (mean, sd float64) {
	n := float64(len(x))
	for _, v := range x {
		mean += v / n
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sd / (n - 1))
}

// median of sorted values.
func median(x []float64) float64 {
	k := len(x) / 2
	if len(x)%2 == 1 {
		return x[k]
	}
	return x[k-1] + (x[k]-x[k-1])/2
}

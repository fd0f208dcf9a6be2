package compare

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"thudbook/metrics/fault"
)

// Comparison is the difference of two means, A less B.
type Comparison struct {
	A, B       Summary
	Difference float64 // in the unit of the values, as SE, Low and High
	SE         float64
	T, DF      float64 // DF after Welch and Satterthwaite, rarely a whole number
	Level      float64 // of all intervals here, such as 0.95
	Low, High  float64
	P          float64 // two-sided
	// AdjustedP is P corrected for the number of comparisons made together
	// (Holm); equal to P for one alone.
	AdjustedP float64
	Effect    Effect
}

// Welch compares two means without taking the standard deviations for equal
// (Welch 1947). The interval holds the difference at the given level, for
// values that are about normal. It needs two values in each sample and scatter
// in one of them; otherwise the error is a *fault.Error. It panics on a level
// outside (0, 1).
func Welch(a, b Sample, level float64) (Comparison, error) {
	wantLevel(level)
	c := Comparison{Level: level}
	var err error
	if c.A, err = Summarise(a); err != nil {
		return Comparison{}, err
	}
	if c.B, err = Summarise(b); err != nil {
		return Comparison{}, err
	}
	c.Difference = c.A.Mean - c.B.Mean
	va, vb := c.A.SD*c.A.SD/float64(c.A.N), c.B.SD*c.B.SD/float64(c.B.N)
	c.SE = math.Sqrt(va + vb)
	if !(c.SE > 0) {
		return Comparison{}, &fault.Error{Code: NoScatter,
			What: fmt.Sprintf("all values of sample %q are equal, and all of %q: there is no scatter to measure a difference by", a.Name, b.Name),
			Fix:  "check the values, or state the difference without a test"}
	}
	ra, rb := va/(va+vb), vb/(va+vb) // as shares, so that nothing underflows
	c.DF = 1 / (ra*ra/float64(c.A.N-1) + rb*rb/float64(c.B.N-1))
	c.T = c.Difference / c.SE
	half := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: c.DF}.Quantile(0.5+level/2) * c.SE
	c.Low, c.High = c.Difference-half, c.Difference+half
	c.P = mathext.RegIncBeta(c.DF/2, 0.5, c.DF/(c.DF+c.T*c.T))
	c.AdjustedP = c.P
	c.Effect = hedges(c.A, c.B, level)
	if e := c.Effect; math.IsInf(e.G, 0) || math.IsNaN(e.G+e.Low+e.High) || math.IsInf(c.T, 0) {
		return Comparison{}, &fault.Error{Code: NoScatter,
			What: fmt.Sprintf("the scatter of samples %q and %q is too small to measure their difference of %g by", a.Name, b.Name, c.Difference),
			Fix:  "check the values and their units"}
	}
	return c, nil
}

// Pairs compares every sample with every later one, with Holm's correction
// over all of them. It needs two samples.
func Pairs(samples []Sample, level float64) ([]Comparison, error) {
	if len(samples) < 2 {
		return nil, tooFewSamples(len(samples))
	}
	var out []Comparison
	for i, a := range samples {
		for _, b := range samples[i+1:] {
			c, err := Welch(a, b, level)
			if err != nil {
				return nil, err
			}
			out = append(out, c)
		}
	}
	adjust(out)
	return out, nil
}

// Against compares every sample with one reference, sample less reference, with
// Holm's correction over all of them. It needs one sample.
func Against(reference Sample, samples []Sample, level float64) ([]Comparison, error) {
	if len(samples) < 1 {
		return nil, tooFewSamples(1)
	}
	var out []Comparison
	for _, a := range samples {
		c, err := Welch(a, reference, level)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	adjust(out)
	return out, nil
}

func tooFewSamples(n int) error {
	return &fault.Error{Code: TooFewValues,
		What: fmt.Sprintf("%d samples to compare; two are needed at least", n),
		Fix:  "choose another sample as well"}
}

func adjust(cs []Comparison) {
	p := make([]float64, len(cs))
	for i := range cs {
		p[i] = cs[i].P
	}
	for i, v := range Holm(p) {
		cs[i].AdjustedP = v
	}
}

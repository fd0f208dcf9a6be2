package interlab

import (
	"fmt"
	"math"

	"thudbook/metrics/fault"
)

// Score is a laboratory's deviation from the assigned value in units of what
// it may be, and the word for it.
type Score struct {
	Value float64
	Word  Performance
}

// Performance is the word for a score.
type Performance string

// The words. For z, z' and zeta: satisfactory up to 2, a warning signal
// between 2 and 3, an action signal from 3 on. For E_n: satisfactory up to 1,
// an action signal beyond (ISO 13528:2015, clause 9; not confirmed against
// print).
const (
	Satisfactory Performance = "satisfactory"
	Warning      Performance = "warning signal"
	Action       Performance = "action signal"
)

// Assigned is the value that laboratories are scored against, with its
// standard uncertainty, in the unit of the results.
type Assigned struct {
	Value float64
	U     float64
}

// Assign makes the assigned value of a round from its robust mean.
func (r Robust) Assign() Assigned { return Assigned{Value: r.Mean, U: r.UMean} }

// NeedsZPrime: the assigned value is too uncertain to be neglected against
// sigma, the standard deviation for proficiency assessment (u > 0.3 σ).
func (a Assigned) NeedsZPrime(sigma float64) bool { return a.U > 0.3*sigma }

// Z is (x - assigned)/sigma.
func (a Assigned) Z(x, sigma float64) (Score, error) { return threeWay(x-a.Value, sigma) }

// ZPrime is (x - assigned)/√(σ² + u²), for an uncertain assigned value.
func (a Assigned) ZPrime(x, sigma float64) (Score, error) {
	if !(sigma > 0) {
		return Score{}, badScale(sigma)
	}
	return threeWay(x-a.Value, math.Hypot(sigma, a.U))
}

// Zeta is (x - assigned)/√(u(x)² + u²), with the standard uncertainty ux that
// the laboratory states.
func (a Assigned) Zeta(x, ux float64) (Score, error) {
	if !(ux > 0) {
		return Score{}, badScale(ux)
	}
	return threeWay(x-a.Value, math.Hypot(ux, a.U))
}

// En is (x - assigned)/√(U(x)² + U²) with expanded uncertainties, k = 2: the
// laboratory's as stated, that of the assigned value twice its standard
// uncertainty.
func (a Assigned) En(x, expandedUX float64) (Score, error) {
	if !(expandedUX > 0) {
		return Score{}, badScale(expandedUX)
	}
	s, err := threeWay(x-a.Value, math.Hypot(expandedUX, 2*a.U))
	if err != nil {
		return Score{}, err
	}
	s.Word = Satisfactory
	if math.Abs(s.Value) > 1 {
		s.Word = Action
	}
	return s, nil
}

func threeWay(deviation, scale float64) (Score, error) {
	if !(scale > 0) || math.IsInf(scale, 1) {
		return Score{}, badScale(scale)
	}
	if math.IsNaN(deviation) || math.IsInf(deviation, 0) {
		return Score{}, &fault.Error{Code: BadResult,
			What: fmt.Sprintf("a score of a deviation of %g", deviation), Fix: "give a finite result and assigned value"}
	}
	s := Score{Value: deviation / scale, Word: Satisfactory}
	switch z := math.Abs(s.Value); {
	case z >= 3:
		s.Word = Action
	case z > 2:
		s.Word = Warning
	}
	return s, nil
}

func badScale(v float64) error {
	return &fault.Error{Code: BadScale,
		What: fmt.Sprintf("a score needs a standard deviation or uncertainty above zero, not %g", v),
		Fix:  "state it in the unit of the results"}
}

// Package interlab pools the results of several laboratories: precision after
// ISO 5725-2 and ASTM E691 (repeatability, reproducibility), the consistency
// statistics of Mandel, Cochran and Grubbs, robust location and scale by
// algorithm A, and the scores of proficiency tests after ISO 13528.
//
// One Level holds the results of one metric at one condition, for instance
// peak g of one location at one speed, all in one unit; everything computed
// from it has that unit unless said otherwise. Nothing is ever dropped: a
// result that is left out stays listed with its reason, and the precision is
// given with and without it.
//
// The editions meant are ISO 5725-2:1994, ASTM E691 and ISO 13528:2015; the
// formulas were not confirmed against print. What they are checked against is
// named beside each test.
package interlab

import "thudbook/metrics/fault"

// The codes of faults found here.
const (
	TooFewLaboratories fault.Code = "too_few_laboratories" // fewer than the statistic needs
	TooFewReplicates   fault.Code = "too_few_replicates"   // nothing to take a repeatability from
	BadResult          fault.Code = "bad_result"           // not finite, or not above zero for a logarithm
	RepeatedLaboratory fault.Code = "repeated_laboratory"  // one laboratory, two cells
	NotBalanced        fault.Code = "not_balanced"         // ASTM E691 wants equal numbers of replicates
	BadExclusion       fault.Code = "bad_exclusion"        // of nothing, twice, without a reason or a person
	BadScale           fault.Code = "bad_scale"            // a standard deviation or uncertainty that is not above zero
	NotConverged       fault.Code = "not_converged"        // algorithm A did not settle
)

// Verdict is the word for how far a value lies from its fellows.
type Verdict string

// The verdicts. ISO 5725-2, 7.3: an outlier lies beyond the 1 % critical
// value, a straggler between those of 5 % and 1 %. A straggler is kept and
// marked; leaving an outlier out is a person's decision with a reason.
const (
	Consistent Verdict = ""
	Straggler  Verdict = "straggler"
	Outlier    Verdict = "outlier"
	// Beyond marks h or k beyond the 0.5 % line of ASTM E691, which asks for an
	// investigation and passes no judgement.
	Beyond Verdict = "beyond 0.5 % line"
)

// Level is all results of one metric at one condition.
type Level struct {
	Name  string
	Unit  string
	Cells []Cell
}

// Cell is the replicates of one laboratory; it may be empty, and the numbers
// of replicates may differ.
type Cell struct {
	Laboratory string
	Values     []float64
}

package ram

// Individuals is the control chart for single values that come one at a time,
// with the chart of their moving ranges beside it. Its limits are three
// standard deviations from the mean, where the deviation is the mean moving
// range of neighbours over d2 = 1.128 (NIST/SEMATECH e-Handbook of Statistical
// Methods, section 6.3.2.2). With limits from ten values about one good value
// in 42 lies outside, from thirty one in 127, instead of one in 370 with limits
// that are known (TestIndividualsFromFewValues computes it).
type Individuals struct {
	Baseline
	Low, High float64 // of a value
	RangeHigh float64 // of the difference to the value before
}

// sigmaRange is the standard deviation of the range of two values of a normal
// distribution with standard deviation 1, √(2 − 4/π), tabulated as 0.853 (d3).
const sigmaRange = 0.8525024664006904

// NewIndividuals makes the chart from values in their order; see
// EstimateBaseline for what they must be.
func NewIndividuals(x []float64) (Individuals, error) {
	b, err := EstimateBaseline(x)
	if err != nil {
		return Individuals{}, err
	}
	reach := 3 * b.Sigma
	return Individuals{Baseline: b, Low: b.Target - reach, High: b.Target + reach, RangeHigh: b.Sigma * (d2Pair + 3*sigmaRange)}, nil
}

// Signal says on which side a value lies outside the limits.
func (c *Individuals) Signal(v float64) Signal {
	switch {
	case v > c.High:
		return Up
	case v < c.Low:
		return Down
	}
	return InControl
}

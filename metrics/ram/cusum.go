package ram

import "math"

// CUSUM is a two-sided tabular chart of cumulative sums (ISO 7870-4). With u
// the value less the target, in standard deviations, one sum takes u - K at
// each point and the other -u - K; neither falls below zero, and a sum above H
// is a signal.
type CUSUM struct {
	Target, Sigma float64 // level and scatter of single values, in their unit
	K             float64 // half the shift to be found, in standard deviations
	H             float64 // limit, in standard deviations
	// HeadStart is where both sums begin, in standard deviations; H/2 finds
	// faster what is wrong from the start (Lucas and Crosier, Technometrics 24
	// (1982) 199-205). Zero is the plain chart.
	HeadStart float64
}

// NewCUSUM is the usual chart for a shift of one standard deviation: K = 0.5,
// H = 5, one false alarm in 465 values when the parameters are known.
func NewCUSUM(b Baseline) CUSUM { return CUSUM{Target: b.Target, Sigma: b.Sigma, K: 0.5, H: 5} }

// CUSUMPoint is one point of the chart: both sums, in standard deviations.
type CUSUMPoint struct {
	High, Low float64
	Signal    Signal
}

// Run charts values in the order of the shots, one point for each; the sums
// run on after a signal. Settings that make no chart, and values that are not
// finite, are a *fault.Error.
func (c CUSUM) Run(x []float64) ([]CUSUMPoint, error) {
	s, err := c.Start()
	if err != nil {
		return nil, err
	}
	out := make([]CUSUMPoint, 0, len(x))
	for i, v := range x {
		if err := finitePoint(i, v); err != nil {
			return nil, err
		}
		out = append(out, s.Add(v))
	}
	return out, nil
}

// CUSUMState is a chart in use. It is a value: a copy goes on by itself.
type CUSUMState struct {
	chart     CUSUM
	high, low float64
}

// Start begins a chart at its head start.
func (c CUSUM) Start() (CUSUMState, error) {
	switch {
	case !positive(c.Sigma):
		return CUSUMState{}, badChart("the CUSUM chart's standard deviation is not above zero")
	case !(c.K >= 0 && c.K < 1e150):
		return CUSUMState{}, badChart("the CUSUM chart's allowance K is below zero")
	case !positive(c.H):
		return CUSUMState{}, badChart("the CUSUM chart's limit H is not above zero")
	case !(c.HeadStart >= 0 && c.HeadStart < c.H):
		return CUSUMState{}, badChart("the CUSUM chart's head start is not between 0 and H")
	case finitePoint(0, c.Target) != nil:
		return CUSUMState{}, badChart("the CUSUM chart's target is not a number")
	}
	return CUSUMState{chart: c, high: c.HeadStart, low: c.HeadStart}, nil
}

// Add charts the next value. It panics on one that is not a number: Run checks
// for that.
func (s *CUSUMState) Add(x float64) CUSUMPoint {
	if math.IsNaN(x) {
		panic("ram: a control chart got a value that is not a number")
	}
	u := (x - s.chart.Target) / s.chart.Sigma
	s.high = max(0, s.high+u-s.chart.K)
	s.low = max(0, s.low-u-s.chart.K)
	p := CUSUMPoint{High: s.high, Low: s.low}
	switch {
	case s.high > s.chart.H && s.high >= s.low:
		p.Signal = Up
	case s.low > s.chart.H:
		p.Signal = Down
	}
	return p
}

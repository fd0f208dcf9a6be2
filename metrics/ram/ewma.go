package ram

import "math"

// EWMA is a chart of exponentially weighted moving averages (ISO 7870-6;
// Lucas and Saccucci, Technometrics 32 (1990) 1-29): z = λ x + (1-λ) z, from
// the target on.
type EWMA struct {
	Target, Sigma float64 // level and scatter of single values, in their unit
	Lambda        float64 // weight of the newest value, above 0 and up to 1
	L             float64 // limits in standard deviations of z
	// FixedLimits uses the limits z has in the long run from the first point
	// on; otherwise they begin narrower, as the scatter of z does.
	FixedLimits bool
}

// NewEWMA is the usual chart for a shift of about one standard deviation:
// λ = 0.10, L = 2.814, one false alarm in 500 values when the parameters are
// known and the limits fixed.
func NewEWMA(b Baseline) EWMA {
	return EWMA{Target: b.Target, Sigma: b.Sigma, Lambda: 0.10, L: 2.814}
}

// EWMAPoint is one point of the chart, in the unit of the values.
type EWMAPoint struct {
	Z, Low, High float64
	Signal       Signal
}

// Run charts values in the order of the shots, one point for each; the average
// runs on after a signal. Settings that make no chart, and values that are not
// finite, are a *fault.Error.
func (c EWMA) Run(x []float64) ([]EWMAPoint, error) {
	s, err := c.Start()
	if err != nil {
		return nil, err
	}
	out := make([]EWMAPoint, 0, len(x))
	for i, v := range x {
		if err := finitePoint(i, v); err != nil {
			return nil, err
		}
		out = append(out, s.Add(v))
	}
	return out, nil
}

// EWMAState is a chart in use. It is a value: a copy goes on by itself.
type EWMAState struct {
	chart EWMA
	z     float64 // less the target
	decay float64 // (1-λ)^(2i)
}

// Start begins a chart at its target.
func (c EWMA) Start() (EWMAState, error) {
	switch {
	case !positive(c.Sigma):
		return EWMAState{}, badChart("the EWMA chart's standard deviation is not above zero")
	case !(c.Lambda > 0 && c.Lambda <= 1):
		return EWMAState{}, badChart("the EWMA chart's weight λ is not above 0 and up to 1")
	case !positive(c.L):
		return EWMAState{}, badChart("the EWMA chart's limit L is not above zero")
	case finitePoint(0, c.Target) != nil:
		return EWMAState{}, badChart("the EWMA chart's target is not a number")
	}
	return EWMAState{chart: c, decay: 1}, nil
}

// Add charts the next value. It panics on one that is not a number: Run checks
// for that.
func (s *EWMAState) Add(x float64) EWMAPoint {
	if math.IsNaN(x) {
		panic("ram: a control chart got a value that is not a number")
	}
	c := &s.chart
	s.z = c.Lambda*(x-c.Target) + (1-c.Lambda)*s.z
	s.decay *= (1 - c.Lambda) * (1 - c.Lambda)
	grown := 1 - s.decay
	if c.FixedLimits {
		grown = 1
	}
	half := c.L * c.Sigma * math.Sqrt(c.Lambda/(2-c.Lambda)*grown)
	p := EWMAPoint{Z: c.Target + s.z, Low: c.Target - half, High: c.Target + half}
	switch {
	case s.z > half:
		p.Signal = Up
	case s.z < -half:
		p.Signal = Down
	}
	return p
}

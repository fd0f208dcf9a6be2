package ram

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"thudbook/metrics/fault"
)

// Curve relates tank pressure to ram speed. The work of the gas on the piston
// is linear in the tank's pressure, for a large reservoir as for a finite one
// in polytropic expansion, so the square of the speed is a straight line over
// the gauge pressure: v² = a + b p.
type Curve struct {
	Line         Line // x in kPa gauge, y in m²/s²
	EqualSpeedSD bool // fitted with weights 1/(4 v²); ResidualSD is then in m/s
}

// Interval is a value with the bounds of an interval around it.
type Interval struct{ Value, Low, High float64 }

// FitCurve fits pressures in kPa gauge against speeds in m/s. equalSpeedSD
// says that the speed scatters equally at all pressures, and weights the
// squares accordingly; otherwise their scatter counts as equal. The error is a
// *fault.Error: too few shots, a bad pair, or a speed that does not rise.
func FitCurve(pressureKPa, speedMS []float64, equalSpeedSD bool) (Curve, error) {
	if len(pressureKPa) != len(speedMS) {
		panic("ram: lengths of pressure and speed differ")
	}
	y := make([]float64, len(speedMS))
	var w []float64
	if equalSpeedSD {
		w = make([]float64, len(speedMS))
	}
	for i, v := range speedMS {
		p := pressureKPa[i]
		if !(p > 0) || !(v > 0) || math.IsInf(p, 0) || math.IsInf(v, 0) {
			return Curve{}, &fault.Error{Code: BadPair,
				What: fmt.Sprintf("pair %d, %g kPa gauge and %g m/s, is not a pressure and a speed above zero", i+1, p, v),
				Fix:  "correct the shot's pressure or speed, or leave the shot out of the fit"}
		}
		y[i] = v * v
		if w != nil {
			w[i] = 1 / (4 * v * v)
		}
	}
	l, err := FitLine(pressureKPa, y, w)
	if err != nil {
		return Curve{}, err
	}
	if !(l.B > 0) {
		return Curve{}, &fault.Error{Code: NoRise,
			What: "the speed does not rise with the pressure over these shots",
			Fix:  "check the pressures and speeds, and the ram itself, before the next shot"}
	}
	return Curve{Line: l, EqualSpeedSD: equalSpeedSD}, nil
}

// Speed predicts the speed in m/s of one shot at a pressure in kPa gauge, with
// the interval that holds it at the given level (0.95). Outside the observed
// pressures it refuses.
func (c Curve) Speed(pressureKPa, level float64) (Interval, error) {
	if err := c.observed(pressureKPa); err != nil {
		return Interval{}, err
	}
	y, sd := c.predict(pressureKPa)
	h := c.Line.T(level) * sd
	root := func(v float64) float64 { return math.Sqrt(max(v, 0)) }
	return Interval{Value: root(y), Low: root(y - h), High: root(y + h)}, nil
}

// Pressure finds the tank pressure in kPa gauge for a target speed in m/s,
// with Fieller's interval for one shot. A value outside the range of the
// observed pressures is never given: that is an OutsideObserved fault. The
// interval's ends say how sure the value is; they may lie outside that range and
// are no proposal.
func (c Curve) Pressure(targetMS, level float64) (Interval, error) {
	if !(targetMS > 0) || math.IsInf(targetMS, 1) {
		return Interval{}, &fault.Error{Code: BadPair,
			What: fmt.Sprintf("%g m/s is not a speed above zero", targetMS), Fix: "give the target speed in m/s"}
	}
	inv, err := c.Line.Invert(targetMS*targetMS, 1, c.weight(targetMS*targetMS), level)
	if err != nil {
		return Interval{}, err
	}
	if err := c.observed(inv.X); err != nil {
		return Interval{}, err
	}
	return Interval{Value: inv.X, Low: inv.Low, High: inv.High}, nil
}

// ProbabilityWithin is the probability that one shot at a pressure in kPa
// gauge has a speed within toleranceMS of targetMS.
func (c Curve) ProbabilityWithin(pressureKPa, targetMS, toleranceMS float64) (float64, error) {
	if err := c.observed(pressureKPa); err != nil {
		return 0, err
	}
	y, sd := c.predict(pressureKPa)
	if sd == 0 { // a fit without residuals predicts one value
		if v := math.Sqrt(max(y, 0)); math.Abs(v-targetMS) <= toleranceMS {
			return 1, nil
		}
		return 0, nil
	}
	t := distuv.StudentsT{Mu: y, Sigma: sd, Nu: float64(c.Line.DF)}
	lo, hi := max(targetMS-toleranceMS, 0), targetMS+toleranceMS
	return t.CDF(hi*hi) - t.CDF(lo*lo), nil
}

func (c Curve) predict(p float64) (y, sd float64) {
	y = c.Line.At(p)
	return y, c.Line.PredictionSD(p, c.weight(y))
}

// weight of a new observation of the squared speed y.
func (c Curve) weight(y float64) float64 {
	if c.EqualSpeedSD {
		return 1 / (4 * max(y, 1e-6))
	}
	return 1
}

// Outside is the cause of an OutsideObserved fault as numbers, for screens that
// show other units.
type Outside struct{ KPa, LowKPa, HighKPa float64 }

// Error gives the three pressures.
func (o Outside) Error() string {
	return fmt.Sprintf("%g kPa gauge, observed %g to %g", o.KPa, o.LowKPa, o.HighKPa)
}

func (c Curve) observed(p float64) error {
	// A part in a million is rounding of the gauge, not another pressure.
	slack := 1e-6 * c.Line.MaxX
	if p >= c.Line.MinX-slack && p <= c.Line.MaxX+slack {
		return nil
	}
	return &fault.Error{Code: OutsideObserved, Err: Outside{KPa: p, LowKPa: c.Line.MinX, HighKPa: c.Line.MaxX},
		What: fmt.Sprintf("%.1f kPa gauge is outside the observed pressures, %.1f to %.1f kPa gauge: nothing is proposed there",
			p, c.Line.MinX, c.Line.MaxX),
		Fix: "choose a target inside the observed range; nothing is proposed outside it"}
}

package score

import (
	"math"
	"strings"

	"thudbook/metrics/gum"
	"thudbook/metrics/headform"
	"thudbook/metrics/impact"
	"thudbook/metrics/signal"
)

// axes are the channels of one quantity that make its resultant. Without values
// nothing can be said: no such channel, or one of them cannot be read.
type axes struct {
	unit      string
	index     []int // channel numbers
	axis      []signal.Axis
	values    [][]float64
	magnitude []float64
	inputs    gum.Inputs    // standard uncertainties, in the order of values
	known     bool          // that of every sensitivity is
	nine      *nineChannels // where the values come from nine accelerometers
}

// complete tells whether x, y and z are all there.
func (a *axes) complete() bool { return len(a.values) == 3 }

// axes finds the channels of a quantity: along each axis the first that can be read.
func (c *computation) axes(q signal.Quantity) axes {
	out := axes{known: true}
	for _, axis := range []signal.Axis{signal.X, signal.Y, signal.Z} {
		mapped, at := c.find(q, axis)
		switch {
		case at >= 0:
			ch := &c.rec.Channels[at]
			out.unit = ch.Unit
			out.index = append(out.index, at)
			out.axis = append(out.axis, axis)
			out.values = append(out.values, ch.Values)
			if ch.ExpandedUncertaintyPercent <= 0 {
				out.known = false
			}
		case mapped: // a resultant of the rest would be wrong
			return axes{}
		}
	}
	if len(out.values) == 0 {
		return axes{}
	}
	if !out.known {
		c.withoutUncertainty(out.index, q)
	}
	if !out.complete() {
		c.flags.add(IncompleteTriad, c.rec.Channels[out.index[0]].Name, "only %d of 3 axes of %s are mapped; the resultant is that of the axes there are", len(out.values), q)
	}
	out.inputs = c.inputs(out.index)
	out.magnitude = impact.Magnitude(c.floats(c.rec.Len()), out.values...)
	return out
}

// withoutUncertainty names the channels whose sensitivity has no uncertainty.
func (c *computation) withoutUncertainty(index []int, q signal.Quantity) {
	var names []string
	for _, i := range index {
		if ch := &c.rec.Channels[i]; ch.ExpandedUncertaintyPercent <= 0 {
			names = append(names, ch.Name)
		}
	}
	c.flags.add(UncertaintyUnknown, names[0], "the map gives no expanded_uncertainty_percent for %s; results of %s carry no uncertainty", strings.Join(names, ", "), q)
}

// find looks for a readable channel; mapped is true when the map or the recording
// has one at all. Of nine accelerometers it is the central one.
func (c *computation) find(q signal.Quantity, axis signal.Axis) (mapped bool, at int) {
	if c.nine != nil && q == signal.LinearAcceleration {
		if i := c.nine.centre(axis); c.readable[i] {
			return true, i
		}
		return true, -1
	}
	for i := range c.rec.Channels {
		if ch := &c.rec.Channels[i]; ch.Measures == q && ch.Axis == axis {
			if c.readable[i] {
				return true, i
			}
			mapped = true
		}
	}
	for _, m := range c.chanmap.Channels {
		mapped = mapped || signal.Quantity(m.Measures) == q && axisOf(m.Axis) == axis
	}
	return mapped, -1
}

// toCentre moves the linear acceleration to the centre of gravity when its sensors
// sit elsewhere and the rotation is known.
func (c *computation) toCentre(linear *axes, angular axes, alpha [][]float64) {
	var position [3][3]float64
	away := false
	for k, i := range linear.index {
		p := c.rec.Channels[i].PositionMM
		if p != [3]float64{} {
			away = true
		}
		position[linear.axis[k]-signal.X] = p
	}
	if !away {
		return
	}
	if !linear.complete() || alpha == nil {
		c.flags.add(PositionNotCorrected, c.rec.Channels[linear.index[0]].Name,
			"the accelerometers sit away from the centre of gravity, and three linear and three evenly sampled angular velocity channels are needed to move them there")
		return
	}
	n := c.rec.Len()
	moved := headform.AtCentre([3][]float64{c.floats(n), c.floats(n), c.floats(n)}, headform.Motion{
		Linear:       [3][]float64(linear.values),
		Rate:         [3][]float64(angular.values),
		Acceleration: [3][]float64(alpha),
	}, position)
	for k, i := range linear.index {
		copy(c.rec.Channels[i].Values, moved[k])
		c.rec.Channels[i].PositionMM = [3]float64{}
	}
	linear.magnitude = impact.Magnitude(linear.magnitude, linear.values...)
	c.report.Process.MovedToCG = true
}

// angularAcceleration differentiates the filtered rates; nil when they are not
// three, or not even.
func (c *computation) angularAcceleration(angular axes) [][]float64 {
	if !angular.complete() || !c.even() || c.rec.Len() < 5 {
		return nil
	}
	alpha := make([][]float64, 3)
	for k := range alpha {
		alpha[k] = signal.Derivative(c.floats(c.rec.Len()), angular.values[k], c.rec.RateHz)
	}
	c.report.Process.Derivative = "five-point stencil of the filtered angular velocity"
	return alpha
}

// expanded wraps an uncertainty when the inputs of it are known.
func expanded(known bool, u func() float64) *float64 {
	if !known {
		return nil
	}
	if v := u(); !math.IsNaN(v) && v > 0 {
		return new(v)
	}
	return nil
}

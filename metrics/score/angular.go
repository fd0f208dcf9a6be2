package score

import (
	"math"

	"thudbook/metrics/gum"
	"thudbook/metrics/impact"
)

// endSamples at each end are left out when the largest angular acceleration is
// looked for: the one-sided stencils there amplify noise.
const endSamples = 2

// angularMetrics computes what rests on angular velocity, and what combines it
// with the peak of linear acceleration.
func (c *computation) angularMetrics(a axes, alpha [][]float64, linear peakOf) {
	if len(a.values) == 0 {
		return
	}
	r, u := a.magnitude, a.vector()
	c.report.Detail.Angular = r
	t := c.trace(r)
	peak, at := impact.Peak(r)
	if at < 0 {
		return
	}
	c.put("peak_angular_velocity", Result{Value: peak, Unit: "rad/s", AtS: new(t.At(at)),
		ExpandedUncertainty: expanded(a.known, func() float64 { return u.Sample(at) })})
	if !a.complete() {
		return
	}
	c.bric(a)
	if alpha == nil {
		return
	}
	magnitude := impact.Magnitude(nil, alpha...)
	c.report.Detail.AngularAcceleration = magnitude
	inner := magnitude[endSamples : len(magnitude)-endSamples]
	peakAlpha, at := impact.Peak(inner)
	if at < 0 {
		return
	}
	at += endSamples
	ua := gum.Vector{Axes: alpha, Magnitude: magnitude, Relative: a.relative}
	c.put("peak_angular_acceleration", Result{Value: peakAlpha, Unit: "rad/s2", AtS: new(t.At(at)),
		ExpandedUncertainty: expanded(a.known, func() float64 { return ua.Sample(at) })})
	c.gambit(linear, peakOf{value: peakAlpha, ok: true, known: a.known, expanded: ua.Sample(at)})
	value, atS := impact.DAMAGE([3][]float64(alpha), c.rec.RateHz)
	c.put("damage", Result{Value: value, AtS: new(t.At(0) + atS), Definition: impact.DAMAGEForm().ID,
		ExpandedUncertainty: expanded(a.known, func() float64 { return c.damageUncertainty(a, alpha, atS) })})
}

// bric is the brain injury criterion of the three largest rates.
func (c *computation) bric(a axes) {
	var peaks, parts [3]float64
	critical := impact.BrICCriticals()
	for k := range peaks {
		peaks[k], _ = impact.PeakAbs(a.values[k])
		parts[k] = peaks[k] / critical[k]
	}
	c.put("bric", Result{Value: impact.BrIC(peaks), Definition: impact.BrICForm().ID,
		ExpandedUncertainty: expanded(a.known, func() float64 {
			return gum.Vector{Axes: a.values, Magnitude: a.magnitude, Relative: a.relative}.Components(parts[:])
		})})
}

// gambit combines the peaks of linear and angular acceleration.
func (c *computation) gambit(linear, angular peakOf) {
	if !linear.ok {
		return
	}
	form := impact.GAMBITForm()
	value, byLinear, byAngular := impact.GAMBIT(linear.value, angular.value)
	c.put("gambit", Result{Value: value, Definition: form.ID, Note: form.Form,
		ExpandedUncertainty: expanded(linear.known && angular.known, func() float64 {
			return gum.Combine(byLinear*linear.expanded, byAngular*angular.expanded)
		})})
}

// damageUncertainty uses that the model is linear: at the instant of the largest
// deflection each axis has its own share, and the shares scale with the
// sensitivities.
func (c *computation) damageUncertainty(a axes, alpha [][]float64, atS float64) float64 {
	shares := impact.DAMAGEShares([3][]float64(alpha), c.rec.RateHz, atS)
	length := 0.0
	for k := range 3 {
		sum := 0.0
		for j := range 3 {
			sum += shares[j][k]
		}
		length += sum * sum
	}
	if length == 0 {
		return 0
	}
	var parts [3]float64
	for j := range parts { // derivative of the length to the factor of axis j
		for k := range 3 {
			parts[j] += shares[j][k] * (shares[0][k] + shares[1][k] + shares[2][k])
		}
		parts[j] *= a.relative[j] / math.Sqrt(length)
	}
	return gum.Expanded(parts[:]...)
}

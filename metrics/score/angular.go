package score

import (
	"thudbook/metrics/gum"
	"thudbook/metrics/impact"
	"thudbook/metrics/signal"
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
	r, u := a.magnitude, c.vector(a.values, a.magnitude)
	c.report.Detail.Angular = r
	t := c.trace(r)
	peak, at := impact.Peak(r)
	if at < 0 {
		return
	}
	c.putUncertain("peak_angular_velocity", Result{Value: peak, Unit: "rad/s", AtS: new(t.At(at))}, &a, func() gum.Effect { return u.Sample(at) })
	if !a.complete() {
		return
	}
	c.bric(&a)
	if alpha == nil {
		return
	}
	magnitude := impact.Magnitude(c.floats(c.rec.Len()), alpha...)
	c.report.Detail.AngularAcceleration = magnitude
	inner := magnitude[endSamples : len(magnitude)-endSamples]
	peakAlpha, at := impact.Peak(inner)
	if at < 0 {
		return
	}
	at += endSamples
	slopes := c.slopes(&a, alpha)
	u = c.vector(alpha, magnitude)
	expandedAlpha := c.putUncertain("peak_angular_acceleration", Result{Value: peakAlpha, Unit: "rad/s2", AtS: new(t.At(at))}, &slopes, func() gum.Effect {
		e := u.Sample(at)
		e.TimeBase = peakAlpha
		return e
	})
	c.gambit(linear, peakOf{value: peakAlpha, ok: true, known: a.known, expanded: expandedAlpha})
	if !c.even() {
		return
	}
	value, atS := impact.DAMAGE([3][]float64(alpha), c.rec.RateHz)
	c.putUncertain("damage", Result{Value: value, AtS: new(t.At(0) + atS), Definition: impact.DAMAGEForm().ID}, &slopes, func() gum.Effect {
		return c.damageEffect([3][]float64(alpha), atS, slopes.inputs.CrossAxis != [3]float64{})
	})
}

// slopes is what is known of the derivative of the angular velocity: an offset is
// gone, and the noise is its own.
func (c *computation) slopes(a *axes, alpha [][]float64) axes {
	out := *a
	out.unit = "rad/s2"
	out.inputs.Offset, out.inputs.Noise, out.inputs.White = [3]float64{}, [3]float64{}, [3]float64{}
	if c.lead >= 10 {
		for k, v := range alpha {
			out.inputs.Noise[k] = signal.Deviation(v[endSamples:c.lead])
		}
	}
	return out
}

// bric is the brain injury criterion of the three largest rates, each at its own time.
func (c *computation) bric(a *axes) {
	var peaks [3]float64
	var at [3]int
	critical := impact.BrICCriticals()
	for k := range peaks {
		peaks[k], at[k] = impact.PeakAbs(a.values[k])
	}
	value := impact.BrIC(peaks)
	c.putUncertain("bric", Result{Value: value, Definition: impact.BrICForm().ID}, a, func() gum.Effect {
		e := gum.Effect{Components: 3}
		if value == 0 {
			return e
		}
		for k := range 3 {
			w := peaks[k] / (critical[k] * critical[k] * value) // derivative to the peak
			for j := range 3 {
				e.Share[k][j] = w * a.values[j][at[k]]
			}
			e.Offset[k], e.Noise[k] = w, w
		}
		return e
	})
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

// damageEffect uses that the model is linear: at the instant of the largest
// deflection each axis has its own share of it, driven by its own signal or by that of
// another axis that its sensor sees.
func (c *computation) damageEffect(alpha [3][]float64, atS float64, cross bool) gum.Effect {
	shares := impact.DAMAGEShares(alpha, c.rec.RateHz, atS)
	var total [3]float64
	for _, s := range shares {
		for m := range total {
			total[m] += s[m]
		}
	}
	length := gum.Combine(total[:]...)
	e := gum.Effect{Components: 3, TimeBase: length} // the drive goes with one over the time; that the model answers otherwise is left out
	if length == 0 {
		return e
	}
	for turn := range 3 {
		if turn > 0 {
			if !cross {
				break
			}
			shares = impact.DAMAGEShares([3][]float64{alpha[turn], alpha[(1+turn)%3], alpha[(2+turn)%3]}, c.rec.RateHz, atS)
		}
		for k := range 3 {
			for m := range total {
				e.Share[k][(k+turn)%3] += shares[k][m] * total[m] / length
			}
		}
	}
	return e
}

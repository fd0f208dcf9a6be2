package score

import (
	"math"

	"thudbook/metrics/impact"
	"thudbook/metrics/risk"
)

// furtherMetrics computes what goes beyond the first list of results: the pulse's
// shape, the clip of the total time, RIC, and further combinations. They rest on
// what linearMetrics and angularMetrics left in the report.
func (c *computation) furtherMetrics() {
	c.shapeMetrics()
	c.ric()
	c.combinations()
}

// shapeMetrics describe the pulse around the peak of linear acceleration.
func (c *computation) shapeMetrics() {
	r := c.report.Detail.Linear
	if len(r) == 0 {
		return
	}
	t := c.trace(r)
	if clip, ok := c.report.Results["clip_3ms"]; ok { // else the record is too short for either
		form := impact.CumulativeClipForm()
		c.put("clip_3ms_cumulative", Result{Value: max(clip.Value, impact.CumulativeClip(t, impact.Clip3MSDurationS)), Unit: "g", Definition: form.ID})
	}
	threshold := impact.SeverityIndexForm()
	p, ok := impact.FindPulse(t, threshold.Value("threshold"))
	if !ok {
		return
	}
	s, form := impact.FindShape(t, p), impact.PulseShapeForm()
	if p.Began {
		c.put("time_to_peak", Result{Value: s.TimeToPeakS, Unit: "s", FromS: new(p.StartS), ToS: new(t.At(p.Peak)), Definition: form.ID})
	}
	if s.Has10 {
		c.put("pulse_width_10_percent", Result{Value: s.Width10S, Unit: "s", FromS: new(s.From10S), ToS: new(s.To10S), Definition: form.ID})
	}
	if s.Has50 {
		c.put("pulse_width_50_percent", Result{Value: s.Width50S, Unit: "s", FromS: new(s.From50S), ToS: new(s.To50S), Definition: form.ID})
	}
	if s.HasUp {
		c.put("rise_rate", Result{Value: s.RisePerS, Unit: "g/s", FromS: new(s.RiseFromS), ToS: new(s.RiseToS), Definition: form.ID})
	}
}

// ric is the rotational injury criterion; the samples of the one-sided stencils are
// left out, as for the peak.
func (c *computation) ric() {
	alpha := c.report.Detail.AngularAcceleration
	if len(alpha) <= 2*endSamples {
		return
	}
	t := c.trace(alpha[endSamples : len(alpha)-endSamples])
	t.StartS = c.rec.At(endSamples)
	h, form := impact.FindRIC(t), impact.RICForm()
	if h.Last > h.First {
		c.put("ric36", Result{Value: h.Value, FromS: new(t.At(h.First)), ToS: new(t.At(h.Last)), Definition: form.ID})
	}
}

// combinations combine results that are there already, with their uncertainties.
func (c *computation) combinations() {
	r := c.report.Results
	a, okA := r["peak_linear_acceleration"]
	alpha, okAlpha := r["peak_angular_acceleration"]
	if okA && okAlpha {
		form := impact.GAMBITFormB()
		v, byA, byAlpha := impact.GAMBITB(a.Value, alpha.Value)
		c.put("gambit_b", Result{Value: v, Definition: form.ID, Note: form.Form, ExpandedUncertainty: combine(byA, a, byAlpha, alpha)})
	}
	hic, okHIC := r["hic15"]
	damage, okDAMAGE := r["damage"]
	if okHIC && okDAMAGE {
		form := impact.HARMForm()
		v, byHIC, byDAMAGE := impact.HARM(hic.Value, damage.Value)
		c.put("harm", Result{Value: v, Definition: form.ID, Note: form.Form, ExpandedUncertainty: combine(byHIC, hic, byDAMAGE, damage)})
	}
}

// combine is the expanded uncertainty of a combination of a linear and an angular
// result, whose sensors are independent; nil when one of them carries none (JCGM
// 100:2008, 5.1.2). What little they share, the time base, is left out.
func combine(byA float64, a Result, byB float64, b Result) *float64 {
	if a.ExpandedUncertainty == nil || b.ExpandedUncertainty == nil {
		return nil
	}
	return new(math.Hypot(byA**a.ExpandedUncertainty, byB**b.ExpandedUncertainty))
}

// published evaluates the published functions whose inputs are among the results.
func published(results map[string]Result) []risk.Value {
	values := make(map[string]float64, len(results))
	for name, r := range results {
		values[name] = r.Value
	}
	return risk.Evaluate(values)
}

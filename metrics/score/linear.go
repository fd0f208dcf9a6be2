package score

import (
	"math"
	"slices"

	"thudbook/metrics/gum"
	"thudbook/metrics/impact"
	"thudbook/metrics/unit"
)

// peakOf is a peak with its expanded uncertainty, for combined metrics.
type peakOf struct {
	value, expanded float64
	ok, known       bool
}

// linearMetrics computes what rests on linear acceleration.
func (c *computation) linearMetrics(a axes) peakOf {
	if len(a.values) == 0 {
		return peakOf{}
	}
	r := a.magnitude
	c.report.Detail.Linear = r
	t, u := c.trace(r), c.vector(a.values, r)
	peak, at := impact.Peak(r)
	if at < 0 {
		return peakOf{}
	}
	expandedPeak := c.putUncertain("peak_linear_acceleration", Result{Value: peak, Unit: "g", AtS: new(t.At(at))}, &a, func() gum.Effect { return u.Sample(at) })
	c.pulseMetrics(a, t, u)
	c.drift(&a, at)
	c.windowMetrics(a, t, u)
	dwell := impact.DwellForm()
	for k, name := range []string{"dwell_150g", "dwell_200g"} {
		c.put(name, Result{Value: impact.Dwell(t, dwell.Constants[k].Value), Unit: "s", Definition: dwell.ID})
	}
	return peakOf{value: peak, ok: true, known: a.known, expanded: expandedPeak}
}

// pulseMetrics are those between the 4 g crossings around the peak.
func (c *computation) pulseMetrics(a axes, t impact.Trace, u gum.Vector) {
	form := impact.SeverityIndexForm()
	threshold := form.Constants[1].Value
	p, ok := impact.FindPulse(t, threshold)
	if !ok {
		c.flags.add(NoImpact, "", "the resultant never exceeds %g g", threshold)
		return
	}
	before := 1000 * (p.StartS - t.At(0))
	if !p.Began || before < 1000*pretriggerS {
		c.flags.add(TooLittlePretrigger, "", "only %.2f ms of record lie before the impact", max(before, 0))
	}
	if c.lead > p.First || !p.Returned && c.movesMostBefore(a.values) {
		c.flags.add(BaselineInImpact, "", "the baseline window of %.4g ms reaches into the impact: what was taken off is no offset, and the results are wrong", c.report.Process.BaselineMS)
	}
	c.pulse = &p
	if !p.Returned {
		c.flags.add(NoReturnBelow4g, "", "the resultant is still above %g g at the end of the record", threshold)
	}
	c.putUncertain("severity_index", Result{Value: impact.SeverityIndex(t, p.First, p.Last), FromS: new(t.At(p.First)), ToS: new(t.At(p.Last)),
		Definition: form.ID}, &a, func() gum.Effect { return u.SeverityIndex(p.First, p.Last) })
	c.put("impact_duration", Result{Value: p.EndS - p.StartS, Unit: "s", FromS: new(p.StartS), ToS: new(p.EndS)})
	speed, at, parts := impact.VelocityChange(t, a.values, p.First, p.Last)
	c.putUncertain("velocity_change", Result{Value: speed, Unit: "m/s", AtS: new(t.At(at))}, &a, func() gum.Effect { return u.Integral(parts, p.First, at, unit.G0) })
}

// movesMostBefore says that the signals run through more than half of their ranges
// within the baseline window: the offset then was the mean of the pulse, and what seems
// to be the pulse, and never returns to rest, is the rest without it.
func (c *computation) movesMostBefore(values [][]float64) bool {
	within, all := 0.0, 0.0
	for _, v := range values {
		within = math.Hypot(within, slices.Max(v[:max(c.lead, 1)])-slices.Min(v[:max(c.lead, 1)]))
		all = math.Hypot(all, slices.Max(v)-slices.Min(v))
	}
	return within > all/2
}

// pretriggerS is the record before the impact that SAE J211-1 asks for (not
// confirmed against print).
const pretriggerS = 0.010

// windowMetrics are HIC and clip.
func (c *computation) windowMetrics(a axes, t impact.Trace, u gum.Vector) {
	sums := impact.NewCumulative(t, c.floats(len(t.Values)))
	hic15 := sums.FindHIC(impact.HIC15WindowS, impact.HIC{})
	hic36 := sums.FindHIC(impact.HIC36WindowS, hic15)
	for _, h := range []struct {
		name string
		impact.HIC
	}{{"hic15", hic15}, {"hic36", hic36}} {
		c.putUncertain(h.name, Result{Value: h.Value, FromS: new(t.At(h.First)), ToS: new(t.At(h.Last)), Definition: impact.HICForm().ID},
			&a, func() gum.Effect { return u.HIC(h.First, h.Last) })
	}
	clip := impact.FindClip(t, impact.Clip3MSDurationS)
	if clip.ToS <= clip.FromS {
		return // the record is shorter
	}
	point := func(i int, at float64) gum.Point {
		from := t.At(i)
		next := t.At(min(i+1, len(t.Values)-1))
		if next <= from {
			return gum.Point{Sample: i}
		}
		return gum.Point{Sample: i, Fraction: (at - from) / (next - from)}
	}
	c.putUncertain("clip_3ms", Result{Value: clip.Value, Unit: "g", FromS: new(clip.FromS), ToS: new(clip.ToS), Definition: impact.ClipForm().ID},
		&a, func() gum.Effect { return u.Held(point(clip.First, clip.FromS), point(clip.After, clip.ToS)) })
}

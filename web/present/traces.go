package present

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/signal"
	"thudbook/sync/scoring"
	"thudbook/web/chart"
)

// Traces puts the curves of a shot in the form that the charts draw; nil when
// no channel could be read.
func Traces(d *scoring.Traces) *chart.Traces {
	if d == nil || d.Raw == nil || d.Raw.Len() == 0 {
		return nil
	}
	base := d.Raw
	merged := d.Filtered != nil && d.Filtered.Len() != d.Raw.Len()
	if merged { // repeated times were merged: only those samples share a time base
		base = d.Filtered
	}
	t := &chart.Traces{TimeS: make([]float64, base.Len()), FromTrigger: fromTrigger(base, d.Report.Map)}
	for i := range t.TimeS {
		t.TimeS[i] = base.At(i)
	}
	for i := range d.Raw.Channels {
		if c := curve(d, i, merged); readable(c.Raw) || readable(c.Filtered) {
			t.Channels = append(t.Channels, c)
		}
	}
	for _, c := range []chart.Channel{
		{Name: "linear resultant", Label: "Resultant, linear", Quantity: string(signal.LinearAcceleration), Unit: "g", Filtered: d.LinearG},
		{Name: "angular resultant", Label: "Resultant, angular", Quantity: string(signal.AngularVelocity), Unit: "rad/s", Filtered: d.AngularRadS},
	} {
		if len(c.Filtered) == len(t.TimeS) && readable(c.Filtered) {
			c.Axis = "resultant"
			t.Channels = append(t.Channels, c)
		}
	}
	if len(t.Channels) == 0 {
		return nil
	}
	for _, h := range []struct{ key, label string }{{"hic15", "HIC, 15 ms"}, {"hic36", "HIC, 36 ms"}, {"clip_3ms", "3 ms clip"}} {
		if r, ok := d.Report.Results[h.key]; ok && r.FromS != nil && r.ToS != nil {
			t.Marks = append(t.Marks, chart.Mark{Label: h.label, Unit: "g", FromS: *r.FromS, ToS: *r.ToS})
		}
	}
	return t
}

// fromTrigger tells whether the file says that its time zero is the trigger: ISO/TS
// 13499 counts the time of the first sample from it, and a record that begins before
// zero counts from what started it, which is common practice. A record from zero on
// says nothing of a trigger.
func fromTrigger(r *signal.Recording, m *chanmap.Map) bool {
	return r.At(0) < 0 || m != nil && m.Format.Kind == "iso13499"
}

func curve(d *scoring.Traces, i int, merged bool) chart.Channel {
	c := &d.Raw.Channels[i]
	out := chart.Channel{Name: c.Name, Label: label(c), Quantity: string(c.Measures), Position: position(c), Axis: c.Axis.String(), Unit: c.Unit}
	if !merged {
		out.Raw = c.Values
	}
	if d.Filtered == nil || i >= len(d.Filtered.Channels) {
		return out
	}
	out.Filtered = d.Filtered.Channels[i].Values
	if p := d.Report.Process; p != nil && p.CFC[c.Name] > 0 {
		out.Class = fmt.Sprintf("CFC %d", p.CFC[c.Name])
	}
	return out
}

func readable(v []float64) bool {
	return slices.ContainsFunc(v, func(x float64) bool { return !math.IsNaN(x) })
}

func label(c *signal.Channel) string {
	what := string(c.Measures)
	if a := c.Axis.String(); a != "" {
		what += ", " + strings.ToUpper(a)
	}
	return c.Name + " (" + what + ")"
}

func position(c *signal.Channel) string {
	if c.PositionMM == ([3]float64{}) {
		return "centre of gravity"
	}
	return fmt.Sprintf("%g, %g, %g mm", c.PositionMM[0], c.PositionMM[1], c.PositionMM[2])
}

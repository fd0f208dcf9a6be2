package score

import (
	"fmt"
	"slices"
	"strings"

	"thudbook/metrics/format"
	"thudbook/metrics/unit"
)

// basis is what a result rests on, and which of it can only raise the result: the
// clipped signal then gives a lower bound. A derivative or a vector sum has no such
// bound: at the corner of a flat top the slope is too steep.
type basis struct {
	name                          string
	linear, angular               bool
	growsByLinear, growsByAngular bool
}

func bases() []basis {
	var all []basis
	for _, name := range []string{"peak_linear_acceleration", "severity_index", "hic15", "hic36", "clip_3ms", "clip_3ms_cumulative", "dwell_150g", "dwell_200g"} {
		all = append(all, basis{name: name, linear: true, growsByLinear: true})
	}
	all = append(all, basis{name: "velocity_change", linear: true})
	for _, name := range []string{"peak_angular_velocity", "bric"} {
		all = append(all, basis{name: name, angular: true, growsByAngular: true})
	}
	for _, name := range []string{"peak_angular_acceleration", "damage", "ric36"} {
		all = append(all, basis{name: name, angular: true})
	}
	for _, name := range []string{"gambit", "gambit_b", "harm"} {
		all = append(all, basis{name: name, linear: true, angular: true, growsByLinear: true})
	}
	return all
}

// boundsHide takes the expanded uncertainty from results of which the record does not
// hold the whole signal: what was clipped, cut off or taken away with the offset is in
// no budget. The value stays, as a lower bound where it is one.
func (c *computation) boundsHide(linear, angular axes) {
	if c.flags.has(BaselineInImpact) {
		for _, b := range bases() {
			c.hide(b.name, "the baseline window reaches into the impact", false)
		}
		return
	}
	unbounded := c.saturationHides(linear, angular)
	c.cutHides(unbounded)
}

// saturationHides is for clipped channels. It names the results that clipping may have
// raised too.
func (c *computation) saturationHides(linear, angular axes) (unbounded []string) {
	byLinear, byAngular := c.clippedOf(linear), c.clippedOf(angular)
	if len(byLinear)+len(byAngular) == 0 {
		return nil
	}
	moved := c.report.Process.MovedToCG // each linear result then rests on the rates too, as a vector sum
	for _, b := range bases() {
		var by []string
		lower := true
		if b.linear {
			by = append(by, byLinear...)
			lower = len(byLinear) == 0 || b.growsByLinear && !moved
		}
		if b.angular || b.linear && moved {
			by = append(by, byAngular...)
			lower = lower && (len(byAngular) == 0 || b.growsByAngular && angular.nine == nil)
		}
		if len(by) == 0 {
			continue
		}
		slices.Sort(by)
		by = slices.Compact(by) // nine accelerometers serve both
		why := "channels " + strings.Join(by, ", ") + " are saturated"
		if len(by) == 1 {
			why = "channel " + by[0] + " is saturated"
		}
		c.hide(b.name, why, lower)
		if !lower {
			unbounded = append(unbounded, b.name)
		}
	}
	return unbounded
}

// clippedOf names the clipped channels among those that axes come from.
func (c *computation) clippedOf(a axes) (names []string) {
	index := a.index
	if a.nine != nil {
		index = a.nine.index[:]
	}
	for _, i := range index {
		if c.clipped[i] {
			names = append(names, c.rec.Channels[i].Name)
		}
	}
	return names
}

// cutShare is the share of the peak above which a record that begins or ends there
// counts as one without the pulse's flank: the peak itself may lie outside. Common
// practice, no published source.
const cutShare = 0.5

// cutHides is for a record that begins or ends in the pulse. A longer one can only
// raise largest values and sums of what is never negative, save those that clipping
// left unbounded.
func (c *computation) cutHides(unbounded []string) {
	p, r := c.pulse, c.report.Detail.Linear
	if p == nil || p.Began && p.Returned {
		return
	}
	last := len(r) - 1
	why := "the record begins in the pulse"
	if !p.Returned {
		why = "the record ends in the pulse"
	}
	deep := !p.Began && r[0] > cutShare*r[p.Peak] || !p.Returned && r[last] > cutShare*r[p.Peak]
	for _, b := range bases() {
		window := c.report.Results[b.name]
		if b.name == "harm" {
			window = c.report.Results["hic15"]
		}
		edge := window.FromS != nil && window.ToS != nil &&
			(!p.Began && *window.FromS <= c.rec.At(0)+sameS || !p.Returned && *window.ToS >= c.rec.At(last)-sameS)
		if deep || edge || b.name == "velocity_change" {
			lower := p.Began || b.name != "velocity_change" && b.name != "damage"
			c.hide(b.name, why, lower && !slices.Contains(unbounded, b.name))
		}
	}
	if d, ok := c.report.Results["impact_duration"]; ok {
		d.Note = noted(d.Note, LowerBound+": "+why)
		c.report.Results["impact_duration"] = d
	}
}

// sameS is how near two times are one: results hold theirs rounded.
const sameS = 1e-9

// LowerBound stands in the note of a result of which the true value may be larger.
const LowerBound = "lower bound"

// hide takes the uncertainty from a result and says why beside it.
func (c *computation) hide(name, why string, lower bool) {
	r, ok := c.report.Results[name]
	if !ok {
		return
	}
	if r.ExpandedUncertainty != nil {
		c.flags.add(UncertaintyUnknown, "", "%s: how much that changes is not known, and the results that rest on it carry no uncertainty", why)
	}
	switch {
	case lower:
		r.Note = noted(r.Note, LowerBound+": "+why)
	case r.ExpandedUncertainty != nil:
		r.Note = noted(r.Note, "no uncertainty: "+why)
	}
	r.ExpandedUncertainty = nil
	delete(c.report.Detail.Budgets, name)
	c.report.Results[name] = r
}

func noted(note, more string) string {
	if note == "" {
		return more
	}
	return note + "; " + more
}

// conflictText says what the file and the channel map say of a unit.
func conflictText(u format.UnitConflict) string {
	text := fmt.Sprintf("the file says that %s is in %s, the channel map says %s; the map's was used", u.Channel, u.InFile, u.InMap)
	in, ok := unit.Parse(u.InFile)
	used, known := unit.Parse(u.InMap)
	if ok && known && in.Dimension == used.Dimension && used.ToBase(1) != 0 {
		text += fmt.Sprintf("; if the file is right, the values have to be multiplied by %.4g", in.ToBase(1)/used.ToBase(1))
	}
	return text
}

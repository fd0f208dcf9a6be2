package score

import (
	"fmt"
	"math"

	"thudbook/metrics/gum"
	"thudbook/metrics/ram"
	"thudbook/metrics/signal"
)

// BudgetRow is one contribution to the uncertainty of a result, for a table of all.
type BudgetRow struct {
	Source  string // of the uncertainty: "sensitivity", "cross axis", "noise" …
	Channel string // "" for what concerns all channels
	Input   string // the input with its standard uncertainty, and where that comes from
	// Standard is what it makes of the result, in the result's unit (k = 1).
	Standard float64
	Unknown  bool // nobody stated the input: it is not in the sum
}

// inputs collects what is known about the channels of one quantity.
func (c *computation) inputs(index []int) gum.Inputs {
	in := gum.Inputs{TimeBase: gum.Rectangular(ram.TimeBaseRelative)}
	for k, i := range index {
		ch := &c.rec.Channels[i]
		in.Sensitivity[k] = ch.ExpandedUncertaintyPercent / 100 / gum.CoverageFactor
		cross := c.crossAxis[i]
		in.CrossAxis[k] = gum.Rectangular(cross / 100)
		in.CrossUnknown[k] = cross <= 0
		in.Noise[k], in.White[k] = c.noise[i], c.white[i]
		if c.lead > 0 {
			in.Offset[k] = noiseOfMean(c.white[i], c.lead)
		}
	}
	return in
}

// noiseOfMean is the standard uncertainty of the mean of n samples that scatter
// independently (JCGM 100:2008, 4.2.3).
func noiseOfMean(noise float64, n int) float64 { return noise / math.Sqrt(float64(n)) }

// vector is the form in which uncertainties are propagated.
func (c *computation) vector(values [][]float64, magnitude []float64) gum.Vector {
	return gum.Vector{Axes: values, Magnitude: magnitude, TimeS: c.rec.TimeS, RateHz: c.rec.RateHz}
}

// putUncertain stores a result with its uncertainty, when the inputs of it are known.
func (c *computation) putUncertain(name string, r Result, a *axes, effect func() gum.Effect) (expanded float64) {
	if a.known {
		var b gum.Budget
		if a.nine != nil {
			b = a.nine.budget[name]
		} else {
			b = effect().Budget(a.inputs)
		}
		if u := b.Expanded(); u > 0 && u-u == 0 {
			r.ExpandedUncertainty, expanded = &u, u
			c.budget(name, a, b)
		}
	}
	c.put(name, r)
	return expanded
}

// budget keeps the table of a result.
func (c *computation) budget(name string, a *axes, b gum.Budget) {
	if c.lean {
		return
	}
	index, unit := a.index, a.unit
	if a.nine != nil {
		index, unit = a.nine.index[:], "g"
	}
	rows := make([]BudgetRow, 0, len(b))
	for _, x := range b {
		row := BudgetRow{Source: string(x.Source), Standard: x.Standard, Unknown: x.Unknown}
		if x.Component >= 0 && x.Component < len(index) {
			row.Channel = c.rec.Channels[index[x.Component]].Name
		}
		row.Input = inputText(x, unit)
		rows = append(rows, row)
	}
	c.addBudget(name, rows)
}

func (c *computation) addBudget(name string, rows []BudgetRow) {
	d := c.report.Detail
	if d.Budgets == nil {
		d.Budgets = map[string][]BudgetRow{}
	}
	d.Budgets[name] = rows
}

// inputText says how well an input is known and why.
func inputText(x gum.Contribution, unit string) string {
	switch x.Source {
	case gum.Sensitivity:
		return fmt.Sprintf("%.3g %% as stated (half of the expanded uncertainty)", 100*x.Input)
	case gum.CrossAxis:
		if x.Unknown {
			return "cross_axis_percent is not stated: not in the sum"
		}
		return fmt.Sprintf("%.3g %% for each other axis (stated limit, rectangular)", 100*x.Input)
	case gum.Offset:
		return fmt.Sprintf("%.3g %s: noise over the root of the samples before the impact", x.Input, unit)
	case gum.Noise:
		return fmt.Sprintf("%.3g %s measured before the impact", x.Input, unit)
	case gum.TimeBase:
		return fmt.Sprintf("%.3g ppm (±%.0f ppm assumed, rectangular)", 1e6*x.Input, 1e6*ram.TimeBaseRelative)
	}
	return ""
}

// speedBudget is the table of the light gate's speed.
func (c *computation) speedBudget(gate *signal.Channel, p ram.Passage) {
	if c.lean {
		return
	}
	width := fmt.Sprintf("%.3g %% as stated (half of the expanded uncertainty)", gate.ExpandedUncertaintyPercent/gum.CoverageFactor)
	if p.FlagAssumed {
		width = "0.02 mm assumed"
	}
	relative := func(u float64) float64 { return 100 * u / p.SpeedMS }
	c.addBudget("impact_speed", []BudgetRow{
		{Source: string(gum.FlagWidth), Channel: gate.Name, Input: width, Standard: p.FlagUncertaintyMS},
		{Source: string(gum.Edges), Channel: gate.Name, Input: fmt.Sprintf("%.3g %% of the time between the edges, from the steps of sampling and the noise", relative(p.EdgesUncertaintyMS)), Standard: p.EdgesUncertaintyMS},
		{Source: string(gum.TimeBase), Input: fmt.Sprintf("%.3g ppm (±%.0f ppm assumed, rectangular)", 1e4*relative(p.ClockUncertaintyMS), 1e6*ram.TimeBaseRelative), Standard: p.ClockUncertaintyMS},
	})
}

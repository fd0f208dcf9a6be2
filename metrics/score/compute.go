package score

import (
	"context"
	"math"
	"strings"

	"thudbook/metrics/cfc"
	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/impact"
	"thudbook/metrics/signal"
)

// computation is the scoring of one recording.
type computation struct {
	ctx          context.Context
	report       *Report
	flags        *flagSet
	chanmap      *chanmap.Map
	typedSpeedMS *float64
	faults       []*fault.Error

	rec      *signal.Recording // filtered
	readable []bool            // by channel
	clipped  []bool            // by channel: samples at full scale or in a flat top
	pulse    *impact.Pulse     // of linear acceleration; nil: none was found
	noise    []float64         // filtered standard deviation in the baseline window, by channel; 0: unknown
	white    []float64         // the same before the filter
	// trend is the slope in the baseline window before the filter, for each sample,
	// with its standard error.
	trend, trendError []float64
	crossAxis         []float64      // percent, by channel; 0: not stated
	before            map[string]int // class that the file says its values are filtered with, by channel
	nine              *nineChannels  // nil: the linear channels are no such arrangement
	lean              bool           // only results are wanted
	loans             [][]float64    // memory to give back
	lead              int            // samples of the baseline window
}

// run computes everything, in the order of SAE J211-1: scale, offset, filter, then
// what is not linear.
func (c *computation) run(raw *signal.Recording) {
	raw = c.withoutCutRow(raw)
	c.report.Detail.Raw = raw
	c.report.Record = describe(raw)
	if raw.Len() == 0 {
		return
	}
	c.inspect(raw)
	c.prepare(raw)
	if c.ctx.Err() != nil {
		return
	}
	angular := c.axes(signal.AngularVelocity)
	alpha := c.angularAcceleration(angular)
	if c.nine != nil && !angular.complete() {
		angular, alpha = c.rotation()
	}
	twins := c.twinSignals() // before anything is moved
	linear := c.axes(signal.LinearAcceleration)
	c.toCentre(&linear, angular, alpha)
	peakLinear := c.linearMetrics(linear)
	c.angularMetrics(angular, alpha, peakLinear)
	c.furtherMetrics()
	c.noiseHides()
	c.boundsHide(linear, angular)
	c.speedMetrics(raw)
	c.plausible()
	c.quiet(linear, angular)
	if !c.flags.has(NoImpact) && !c.flags.has(NoiseFloor) {
		for i := range twins {
			c.compare(twins[i])
		}
	}
}

// noiseHides takes the expanded uncertainties away where noise rules the signal:
// they know the sensitivities only, and would make noise look well measured.
func (c *computation) noiseHides() {
	if !c.flags.has(NoImpact) && !c.flags.has(NoiseFloor) {
		return
	}
	for name, r := range c.report.Results {
		if r.ExpandedUncertainty != nil {
			r.ExpandedUncertainty = nil
			c.report.Results[name] = r
		}
	}
	c.report.Detail.Budgets = nil
	c.flags.add(UncertaintyUnknown, "", "noise is large against the signal: the uncertainty of the sensitivities alone would mislead")
}

// describe gives the time base.
func describe(r *signal.Recording) *Record {
	d := &Record{Samples: r.Len(), RateHz: r.RateHz, Uneven: r.TimeS != nil}
	if d.Samples > 0 {
		d.StartS = r.At(0)
		d.DurationS = r.At(d.Samples-1) - d.StartS
	}
	for _, v := range []*float64{&d.RateHz, &d.StartS, &d.DurationS} {
		if *v-*v != 0 {
			*v = 0 // JSON knows no infinity; the flags and the error say what is wrong
		}
	}
	return d
}

// withoutCutRow drops a last row that the reader found cut short.
func (c *computation) withoutCutRow(raw *signal.Recording) *signal.Recording {
	for _, f := range c.faults {
		if f.Code == fault.Truncated {
			c.flags.add(RowLeftOut, "", "the last row of the file is cut short and was left out")
			n := raw.Len()
			for _, ch := range raw.Channels {
				if n > 1 && math.IsNaN(ch.Values[n-1]) && !math.IsNaN(ch.Values[n-2]) {
					return shortened(raw, n-1)
				}
			}
		}
	}
	return raw
}

// shortened is the recording's first n samples.
func shortened(r *signal.Recording, n int) *signal.Recording {
	out := *r
	if r.TimeS != nil {
		out.TimeS = r.TimeS[:n]
	}
	out.Channels = make([]signal.Channel, len(r.Channels))
	for i, ch := range r.Channels {
		ch.Values = ch.Values[:n]
		out.Channels[i] = ch
	}
	return &out
}

// put stores a result; one that is not finite is left out and flagged.
func (c *computation) put(name string, r Result) {
	if r.Value-r.Value != 0 {
		c.flags.add(OutOfRange, "", "%s is not a finite number and was left out", strings.ReplaceAll(name, "_", " "))
		return
	}
	for _, p := range []**float64{&r.ExpandedUncertainty, &r.AtS, &r.FromS, &r.ToS} {
		if *p != nil && **p-**p != 0 {
			*p = nil
		}
	}
	for _, p := range []*float64{r.AtS, r.FromS, r.ToS} {
		if p != nil && math.Abs(*p) < 1e6 {
			*p = math.Round(*p*1e12) / 1e12 // 0.00155, not 0.0015499999999999993
		}
	}
	c.report.Results[name] = r
}

// trace puts a resultant on the recording's time base.
func (c *computation) trace(values []float64) impact.Trace {
	return impact.Trace{TimeS: c.rec.TimeS, StartS: c.rec.StartS, RateHz: c.rec.RateHz, Values: values}
}

// even tells whether filters and derivatives can be applied.
func (c *computation) even() bool { return c.rec.TimeS == nil }

// processing starts the account of what is done to the samples.
func (c *computation) processing() *Processing {
	return &Processing{
		BaselineMS:   c.chanmap.Processing.BaselineMS,
		CornerFactor: cfc.CornerFactor,
		EndTreatment: "odd reflection of 10 ms, steady state of the first value",
		CFC:          map[string]int{},
	}
}

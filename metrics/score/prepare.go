package score

import (
	"fmt"

	"thudbook/metrics/cfc"
	"thudbook/metrics/impact"
	"thudbook/metrics/signal"
)

// inspect looks at each raw channel and flags what it finds.
func (c *computation) inspect(raw *signal.Recording) {
	c.readable, c.clipped = make([]bool, len(raw.Channels)), make([]bool, len(raw.Channels))
	for i := range raw.Channels {
		ch := &raw.Channels[i]
		q := signal.Inspect(ch)
		c.readable[i] = q.NotFinite == 0
		if q.NotFinite > 0 {
			c.flags.add(ChannelUnreadable, ch.Name, "%d of %d samples could not be read, the first at %.6g s; metrics that need this channel are left out",
				q.NotFinite, len(ch.Values), raw.At(q.FirstNotFinite))
			continue
		}
		if q.Constant && len(ch.Values) > 1 && ch.Measures != signal.Pressure {
			c.flags.add(DeadChannel, ch.Name, "every sample is %.6g %s", q.Min, ch.Unit)
		}
		c.clipped[i] = q.Saturated > 0
		switch {
		case q.Saturated > 0 && q.FlatTop:
			beside := "the map gives no full scale to compare with"
			if ch.FullScale > 0 {
				beside = fmt.Sprintf("below the map's full scale of %.4g %s: an amplifier that clips, or a wrong full scale", ch.FullScale, ch.Unit)
			}
			c.flags.add(Saturated, ch.Name, "%d samples stand still at an extreme, the first at %.6g s; %s",
				q.Saturated, raw.At(q.FirstSaturated), beside)
		case q.Saturated > 0:
			c.flags.add(Saturated, ch.Name, "%d samples at or above %.4g %s, 99.5 %% of full scale, the first at %.6g s",
				q.Saturated, signal.SaturationFraction*ch.FullScale, ch.Unit, raw.At(q.FirstSaturated))
		}
		if q.StuckRun > 0 && ch.Measures != signal.LightGate && ch.Measures != signal.Pressure {
			c.flags.add(Dropout, ch.Name, "%d samples in a row have one value from %.6g s on", q.StuckRun, raw.At(q.StuckStart))
		}
		if q.Dropouts > 0 && moves(ch.Measures) {
			c.flags.add(Dropout, ch.Name, "%d times it falls to one value, stands still and comes back: first at %.6g s, to %.4g %s for %.2g ms",
				q.Dropouts, raw.At(q.DropoutStart), ch.Values[q.DropoutStart], ch.Unit, 1000*(raw.At(q.DropoutStart+q.DropoutSamples)-raw.At(q.DropoutStart)))
		}
	}
	c.missing(raw)
	c.findNine(raw)
	c.duplicates(raw)
}

// missing flags channels that the map has and the recording has not.
func (c *computation) missing(raw *signal.Recording) {
	for _, m := range c.chanmap.Channels {
		q, axis := signal.Quantity(m.Measures), axisOf(m.Axis)
		found := false
		for i := range raw.Channels {
			found = found || raw.Channels[i].Measures == q && raw.Channels[i].Axis == axis
		}
		if !found {
			c.flags.add(ChannelUnreadable, m.Column, "the file has no column for this channel; metrics that need it are left out")
		}
	}
}

// axisOf reads the axis of a map's channel without its sign.
func axisOf(s string) signal.Axis {
	if s == "" {
		return signal.NoAxis
	}
	switch s[len(s)-1] {
	case 'x', 'X':
		return signal.X
	case 'y', 'Y':
		return signal.Y
	case 'z', 'Z':
		return signal.Z
	}
	return signal.NoAxis
}

// duplicates flags spare channels, and those that run against the first.
func (c *computation) duplicates(raw *signal.Recording) {
	for j := range raw.Channels {
		b := &raw.Channels[j]
		if b.Axis == signal.NoAxis || !c.readable[j] || c.nine != nil && b.Measures == signal.LinearAcceleration {
			continue
		}
		for i := range j {
			a := &raw.Channels[i]
			if a.Measures != b.Measures || a.Axis != b.Axis || !c.readable[i] {
				continue
			}
			c.flags.add(ChannelNotUsed, b.Name, "%s along %s is taken from channel %s", b.Measures, b.Axis, a.Name)
			if r := signal.Correlation(a.Values, b.Values); r < -0.5 {
				c.flags.add(ReversedChannel, b.Name, "runs against channel %s of the same axis (correlation %.2f)", a.Name, r)
			}
			break
		}
	}
}

// prepare makes the filtered recording: repeated times merged, uneven times put on
// even ones if that is asked for, offset off, filtered.
func (c *computation) prepare(raw *signal.Recording) {
	p := c.processing()
	c.report.Process = p
	merged := c.evened(raw, p)
	rec := *merged
	rec.Channels = make([]signal.Channel, len(merged.Channels))
	n := merged.Len()
	block := c.floats(n * len(merged.Channels))
	c.white, c.noise = make([]float64, len(rec.Channels)), make([]float64, len(rec.Channels))
	c.trend, c.trendError = make([]float64, len(rec.Channels)), make([]float64, len(rec.Channels))
	c.lead = merged.LeadSamples(p.BaselineMS / 1000)
	if c.lead == 0 {
		c.flags.add(NoBaseline, "", "the map gives no baseline window; the offset of the sensors is still in the signals")
	}
	for i, ch := range merged.Channels {
		values := block[i*n : (i+1)*n : (i+1)*n]
		if c.readable[i] && moves(ch.Measures) && c.lead > 0 {
			offset := signal.Mean(ch.Values[:c.lead])
			for k, v := range ch.Values {
				values[k] = v - offset
			}
			c.white[i] = signal.Deviation(values[:c.lead])
			c.trend[i], c.trendError[i] = signal.Trend(values[:c.lead])
		} else {
			copy(values, ch.Values)
		}
		ch.Values = values
		rec.Channels[i] = ch
	}
	c.rec = &rec
	c.report.Detail.Filtered = &rec
	c.filter(p)
	for i, ch := range rec.Channels {
		if c.readable[i] && moves(ch.Measures) {
			c.noise[i] = signal.Deviation(ch.Values[:c.lead])
		}
	}
}

// evened merges repeated times and resamples uneven ones if the map asks for it.
func (c *computation) evened(raw *signal.Recording, p *Processing) *signal.Recording {
	merged := raw.MergeRepeats()
	if raw.TimeS == nil {
		return merged
	}
	found := fmt.Sprintf("times are uneven or repeat: %d samples at %d instants", raw.Len(), merged.Len())
	if hz := c.chanmap.Processing.ResampleHz; hz > 0 {
		even, err := merged.Resample(hz)
		if err == nil {
			p.ResampledHz = hz
			c.flags.add(UnevenSampling, "", "%s; put on %d even ones at %.6g Hz, the longest gap being %.3g ms", found, even.Len(), hz, 1000*merged.LongestStepS())
			return even
		}
		found += fmt.Sprintf("; not resampled: %v", err)
	}
	c.flags.add(UnevenSampling, "", "%s; no filter, integrals by the trapezoid rule", found)
	return merged
}

// moves tells whether a quantity rests at zero before the impact.
func moves(q signal.Quantity) bool {
	return q == signal.LinearAcceleration || q == signal.AngularVelocity
}

// filter runs the class of each channel, channels of one class together.
func (c *computation) filter(p *Processing) {
	work := takeFilterScratch()
	defer filterScratch.Put(work)
	groups := map[int][][]float64{}
	var classes []int
	for i := range c.rec.Channels {
		ch := &c.rec.Channels[i]
		p.CFC[ch.Name] = 0
		if !c.readable[i] {
			continue
		}
		if ch.CFC <= 0 || !c.even() {
			if moves(ch.Measures) && c.before[ch.Name] == 0 {
				c.flags.add(Unfiltered, ch.Name, "%s", unfilteredBecause(c.even()))
			}
			continue
		}
		f, err := cfc.Design(ch.CFC, c.rec.RateHz)
		if err != nil {
			c.flags.add(RateTooLow, ch.Name, "left unfiltered: %v", err)
			continue
		}
		if c.rec.RateHz < cfc.MinRatePerClass*float64(ch.CFC)*(1-1e-6) {
			c.flags.add(RateTooLow, ch.Name, "%.6g samples a second are fewer than ten times CFC %d", c.rec.RateHz, ch.CFC)
		}
		p.CFC[ch.Name] = f.Class
		if groups[f.Class] == nil {
			classes = append(classes, f.Class)
		}
		groups[f.Class] = append(groups[f.Class], ch.Values)
	}
	for _, class := range classes {
		if f, err := cfc.Design(class, c.rec.RateHz); err == nil {
			f.Apply(groups[class], groups[class], work)
		}
	}
}

func unfilteredBecause(even bool) string {
	if even {
		return "the map gives no filter class"
	}
	return "a filter needs even sampling"
}

// quiet flags noise before the impact and channels that show no impact.
func (c *computation) quiet(groups ...axes) {
	for _, g := range groups {
		if len(g.index) == 0 || c.lead < 10 || c.flags.has(BaselineInImpact) {
			continue
		}
		peak, _ := impact.Peak(g.magnitude)
		for k, values := range g.values {
			noise := c.noise[g.index[k]]
			name := c.rec.Channels[g.index[k]].Name
			if noise > noiseShare*peak {
				c.flags.add(NoiseFloor, name, "filtered noise of %.3g %s before the impact is %.1f %% of the peak", noise, g.unit, 100*noise/peak)
				continue
			}
			if len(g.values) < 2 || noise == 0 || peak <= 100*noise {
				continue
			}
			if largest, _ := impact.PeakAbs(values); largest < deadShare*noise {
				c.flags.add(DeadChannel, name, "never exceeds %.3g %s, %.1f times its noise, while the resultant reaches %.4g", largest, g.unit, largest/noise, peak)
			}
		}
	}
}

// Limits of quiet; common practice, no published source.
const (
	noiseShare = 0.02 // of the resultant's peak
	deadShare  = 5    // times the noise: what noise alone reaches in a record
)

package score

import (
	"math"

	"thudbook/metrics/gum"
	"thudbook/metrics/ram"
	"thudbook/metrics/signal"
)

// Limits of two sensors of one quantity at one place; common practice, no
// published source.
const (
	twinSpeedShare  = mismatchShare // two light gates
	twinSignalShare = 0.05          // peaks of two accelerometers or rate sensors
	leastTwinShare  = 0.1           // of the largest peak of the quantity: below it an axis is not compared
)

// Twin compares two channels that measure the same at the same place.
type Twin struct {
	Channel  string          `json:"channel"` // that the results use
	Twin     string          `json:"twin"`
	Measures signal.Quantity `json:"measures"`
	Value    float64         `json:"value"` // of Channel: the speed, or the largest amount
	Other    float64         `json:"other"` // of Twin
	Unit     string          `json:"unit"`
	Limit    float64         `json:"most_apart"` // share of Value; the combined expanded uncertainty where that is larger
}

// Apart is the difference as a share of Value, positive where the twin reads more.
func (t *Twin) Apart() float64 { return t.Other/t.Value - 1 }

// compare keeps a comparison, and flags one beyond its limit.
func (c *computation) compare(t Twin) {
	if d := t.Apart(); !(t.Value > 0) || math.IsNaN(d) || math.IsInf(d, 0) {
		return
	}
	c.report.Twins = append(c.report.Twins, t)
	if d := t.Apart(); math.Abs(d) > t.Limit {
		c.flags.add(TwinsDisagree, t.Twin, "%.4g %s, its twin %s %.4g %s: %.2g %% apart, more than %.2g %%", t.Other, t.Unit, t.Channel, t.Value, t.Unit, 100*math.Abs(d), 100*t.Limit)
	}
}

// twinSignals gives the largest amounts of channels along one axis at one place,
// as they are after the filter.
func (c *computation) twinSignals() (out []Twin) {
	for _, q := range []signal.Quantity{signal.LinearAcceleration, signal.AngularVelocity} {
		if q == signal.LinearAcceleration && c.nine != nil {
			continue // those are checked as one body
		}
		var largest float64
		peaks := make([]float64, len(c.rec.Channels))
		for i := range c.rec.Channels {
			if ch := &c.rec.Channels[i]; ch.Measures == q && c.readable[i] {
				for _, v := range ch.Values {
					peaks[i] = max(peaks[i], math.Abs(v))
				}
				largest = max(largest, peaks[i])
			}
		}
		for j := range c.rec.Channels {
			if i := c.twinOf(j, q); i >= 0 && peaks[i] >= leastTwinShare*largest {
				a, b := &c.rec.Channels[i], &c.rec.Channels[j]
				u := gum.Combine(a.ExpandedUncertaintyPercent/100, b.ExpandedUncertaintyPercent/100)
				out = append(out, Twin{Channel: a.Name, Twin: b.Name, Measures: q, Value: peaks[i], Other: peaks[j], Unit: a.Unit, Limit: max(twinSignalShare, u)})
			}
		}
	}
	return out
}

// twinOf finds the first channel that measures what channel j does; -1: none
// before it.
func (c *computation) twinOf(j int, q signal.Quantity) int {
	b := &c.rec.Channels[j]
	if b.Measures != q || b.Axis == signal.NoAxis || !c.readable[j] {
		return -1
	}
	for i := range j {
		if a := &c.rec.Channels[i]; a.Measures == q && a.Axis == b.Axis && a.PositionMM == b.PositionMM && a.Unit == b.Unit && c.readable[i] {
			return i
		}
	}
	return -1
}

// twinGates compares the speed of the gate that gave it with that of later gates.
func (c *computation) twinGates(raw *signal.Recording, first int, p ram.Passage) {
	for i := first + 1; i < len(raw.Channels); i++ {
		gate := &raw.Channels[i]
		if gate.Measures != signal.LightGate {
			continue
		}
		q, err := ram.MeasurePassage(raw, gate)
		if err != nil {
			c.flags.add(SpeedUnknown, gate.Name, "this second gate gives no speed; that of %s is used", raw.Channels[first].Name)
			continue
		}
		u := 2 * gum.Combine(p.StandardUncertaintyMS, q.StandardUncertaintyMS) / p.SpeedMS
		c.compare(Twin{Channel: raw.Channels[first].Name, Twin: gate.Name, Measures: signal.LightGate, Value: p.SpeedMS, Other: q.SpeedMS, Unit: "m/s", Limit: max(twinSpeedShare, u)})
	}
}

package score

import (
	"math"

	"thudbook/metrics/fault"
	"thudbook/metrics/ram"
	"thudbook/metrics/signal"
)

// mismatchShare is the difference of stated and measured speed that is flagged.
// Common practice, no published source.
const mismatchShare = 0.02

// speedMetrics takes the speed from the light gate, or else the stated one.
func (c *computation) speedMetrics(raw *signal.Recording) {
	speed, ok := c.gateSpeed(raw)
	typed := c.typedSpeedMS
	if typed != nil && (!(*typed > 0) || math.IsInf(*typed, 0)) {
		typed = nil
	}
	switch {
	case ok && typed != nil && math.Abs(*typed-speed.Value) > mismatchShare*speed.Value:
		c.flags.add(SpeedMismatch, "", "stated %.4g m/s, measured %.4g m/s; the measured one is used", *typed, speed.Value)
	case !ok && typed != nil:
		speed = Result{Value: *typed, Unit: "m/s", Note: "stated"}
		c.flags.add(Manual, "", "the impact speed is a stated one, not measured by a light gate in this file")
		c.flags.add(UncertaintyUnknown, "", "the stated impact speed carries no uncertainty")
		ok = true
	}
	if !ok {
		return
	}
	c.put("impact_speed", speed)
	if mass := c.chanmap.Ram.MassKG; mass > 0 {
		energy := Result{Value: ram.Energy(mass, speed.Value), Unit: "J"}
		if speed.ExpandedUncertainty != nil {
			energy.ExpandedUncertainty = new(2 * energy.Value * *speed.ExpandedUncertainty / speed.Value)
			energy.Note = "uncertainty of the speed only, the mass taken as exact"
		}
		c.put("ram_energy", energy)
	}
}

// gateSpeed is the speed from the first light gate that gives one.
func (c *computation) gateSpeed(raw *signal.Recording) (Result, bool) {
	for i := range raw.Channels {
		gate := &raw.Channels[i]
		if gate.Measures != signal.LightGate {
			continue
		}
		p, err := ram.MeasurePassage(raw, gate)
		if err == nil && p.SpeedMS > 0 {
			r := Result{Value: p.SpeedMS, Unit: "m/s"}
			if u := 2 * p.StandardUncertaintyMS; u > 0 {
				r.ExpandedUncertainty = &u
			}
			c.speedBudget(gate, p)
			c.twinGates(raw, i, p)
			if gate.ExpandedUncertaintyPercent <= 0 {
				r.Note = "flag width taken as known to 0.02 mm"
			}
			if !math.IsNaN(p.ReturnedAtS) {
				r.Note = "the ram came back through the gate later; the first passage counts"
			}
			return r, true
		}
		text := "the gate gives no speed"
		if f, ok := fault.As(err); ok {
			text = f.What + "; " + f.Fix
		} else if err != nil {
			text = err.Error()
		}
		c.flags.add(SpeedUnknown, gate.Name, "%s", text)
	}
	return Result{}, false
}

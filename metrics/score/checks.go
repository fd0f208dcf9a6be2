package score

import "math"

// Limits of the checks; common practice, no published source.
const (
	driftShare     = 0.01 // of the peak: a drift that reaches so much by the peak
	driftDeviation = 4    // and exceeds so many standard errors
	lightestHeadKG = 3    // of a head form that a ram is fired at, with helmet
	leastShare     = 0.1  // of the ram's speed that a head form is left with
)

// drift flags channels whose mean moves before the impact so much that, going on, it
// would falsify the peak. Hum of the mains looks alike.
func (c *computation) drift(g *axes, peakAt int) {
	if c.lead < 10 || peakAt < 0 || c.flags.has(BaselineInImpact) {
		return
	}
	peak := g.magnitude[peakAt]
	for _, i := range g.index {
		ch := &c.rec.Channels[i]
		steps := float64(peakAt) - float64(c.lead-1)/2
		moved := c.trend[i] * steps
		if math.Abs(moved) > driftShare*peak && math.Abs(c.trend[i]) > driftDeviation*c.trendError[i] {
			c.flags.add(BaselineDrift, ch.Name, "moves by %.3g %s a millisecond before the impact; going on, it would be %.3g %s off at the peak",
				c.trend[i]*c.rec.RateHz/1000, ch.Unit, moved, ch.Unit)
		}
	}
}

// plausible compares the velocity change of the head form with what the ram brings:
// a body at rest that is hit by a mass m of speed v leaves with at most 2·v·m/(m+M),
// when nothing is lost (conservation of momentum and energy). Which way the head form
// is driven is not known here, so the sign of a single axis cannot be checked: the
// length of the vector is the same for both.
func (c *computation) plausible() {
	dv, ok := c.report.Results["velocity_change"]
	v, known := c.report.Results["impact_speed"]
	if !ok || !known || !(v.Value > 0) {
		return
	}
	least := dv.Value
	if dv.ExpandedUncertainty != nil {
		least -= *dv.ExpandedUncertainty
	}
	most := 2 * v.Value
	mass := c.chanmap.Ram.MassKG
	if mass > 0 {
		most *= mass / (mass + lightestHeadKG)
	}
	switch {
	case least > most && mass > 0:
		c.flags.add(VelocityImplausible, "", "the acceleration adds up to %.3g m/s, but a ram of %.4g kg at %.3g m/s gives a head form of %d kg or more at most %.3g m/s", dv.Value, mass, v.Value, lightestHeadKG, most)
	case least > most:
		c.flags.add(VelocityImplausible, "", "the acceleration adds up to %.3g m/s, but nothing leaves a ram of %.3g m/s faster than %.3g m/s", dv.Value, v.Value, most)
	case dv.Value < leastShare*v.Value:
		c.flags.add(VelocityImplausible, "", "the acceleration adds up to %.3g m/s only, less than a tenth of the ram's %.3g m/s", dv.Value, v.Value)
	}
}

package score

import (
	"thudbook/metrics/gum"
	"thudbook/metrics/headform"
	"thudbook/metrics/impact"
	"thudbook/metrics/signal"
)

// nineChannels are nine accelerometers on one head form that stand for its rotation.
type nineChannels struct {
	headform.Nine
	index  [9]int // channel numbers
	budget map[string]gum.Budget
}

// findNine looks whether the linear channels are nine whose positions fit; they may
// be unreadable.
func (c *computation) findNine(raw *signal.Recording) {
	var s []headform.Accelerometer
	var n nineChannels
	for i := range raw.Channels {
		ch := &raw.Channels[i]
		if ch.Measures != signal.LinearAcceleration || ch.Axis == signal.NoAxis {
			continue
		}
		if len(s) == 9 {
			return
		}
		n.index[len(s)] = i
		s = append(s, headform.Accelerometer{Axis: int(ch.Axis - signal.X), PositionMM: ch.PositionMM})
	}
	if found, ok := headform.FindNine(s); ok {
		n.Nine = found
		c.nine = &n
	}
}

// centre is the channel number of the central accelerometer along an axis.
func (n *nineChannels) centre(axis signal.Axis) int { return n.index[n.Centre[axis-signal.X]] }

// signals are the nine filtered signals.
func (n *nineChannels) signals(rec *signal.Recording) (g [9][]float64) {
	for k, i := range n.index {
		g[k] = rec.Channels[i].Values
	}
	return g
}

// rotation takes angular velocity and acceleration from the nine accelerometers,
// when there are no angular rate channels that could say it better.
func (c *computation) rotation() (angular axes, alpha [][]float64) {
	n := c.nine
	angular = axes{unit: "rad/s", known: true, nine: n}
	var unstated []int
	for _, i := range n.index {
		if !c.readable[i] {
			return axes{}, nil // flagged as unreadable
		}
		if c.rec.Channels[i].ExpandedUncertaintyPercent <= 0 {
			unstated = append(unstated, i)
		}
	}
	g := n.signals(c.rec)
	w := [3][]float64{c.floats(c.rec.Len()), c.floats(c.rec.Len()), c.floats(c.rec.Len())}
	a := [3][]float64{c.floats(c.rec.Len()), c.floats(c.rec.Len()), c.floats(c.rec.Len())}
	n.Acceleration(a, &g)
	headform.Integrate(w, a, c.rec.TimeS, c.rec.RateHz)
	c.oneBody(&g)
	angular.values, alpha = w[:], a[:]
	angular.magnitude = impact.Magnitude(c.floats(c.rec.Len()), w[:]...)
	if len(unstated) > 0 {
		angular.known = false
		c.withoutUncertainty(unstated, signal.AngularVelocity)
	} else {
		n.budgets(c, &g)
	}
	c.report.Process.Derivative = "nine accelerometers, 3-2-2-2; angular velocity integrated from rest at the first sample"
	return angular, alpha
}

// checkS is how long after the peak the nine are compared: later drift rules.
const checkS = 0.020

// oneBody checks the nine against each other.
func (c *computation) oneBody(g *[9][]float64) {
	var centre [3][]float64
	for k, at := range c.nine.Centre {
		centre[k] = g[at]
	}
	r := impact.Magnitude(c.floats(c.rec.Len()), centre[:]...)
	_, at := impact.Peak(r)
	samples := at
	for samples < len(r) && c.rec.At(samples)-c.rec.At(at) <= checkS {
		samples++
	}
	v := c.nine.Check(g, samples, c.rec.TimeS, c.rec.RateHz)
	name := func(k int) string { return c.rec.Channels[c.nine.index[k]].Name }
	switch {
	case !v.Suspect:
	case v.Reversed >= 0:
		c.flags.add(ReversedChannel, name(v.Reversed), "with the sign turned round the nine accelerometers fit one rigid body to %.0f %%, as it is to %.0f %% only", 100*v.Without, 100*v.Residual)
	case v.Swapped[0] >= 0:
		c.flags.add(SwappedChannels, name(v.Swapped[0]), "exchanged with %s the nine accelerometers fit one rigid body to %.0f %%, as it is to %.0f %% only", name(v.Swapped[1]), 100*v.Without, 100*v.Residual)
	default:
		c.flags.add(NotOneBody, "", "the nine accelerometers differ by %.0f %% from any motion of one rigid body", 100*v.Residual)
	}
}

// nineValues are the results that rest on the rotation.
type nineValues struct{ rate, alpha, bric, damage float64 }

// names of the results in nineValues.
func (v nineValues) byName() map[string]float64 {
	return map[string]float64{"peak_angular_velocity": v.rate, "peak_angular_acceleration": v.alpha, "bric": v.bric, "damage": v.damage}
}

// measure computes the results from nine signals.
func (n *nineChannels) measure(c *computation, g *[9][]float64, w, a [3][]float64, r []float64) (v nineValues) {
	n.Acceleration(a, g)
	headform.Integrate(w, a, c.rec.TimeS, c.rec.RateHz)
	v.rate, _ = impact.Peak(impact.Magnitude(r, w[:]...))
	v.alpha, _ = impact.Peak(impact.Magnitude(r, a[:]...))
	var peaks [3]float64
	for k := range peaks {
		peaks[k], _ = impact.PeakAbs(w[k])
	}
	v.bric = impact.BrIC(peaks)
	if c.even() {
		v.damage, _ = impact.DAMAGE(a, c.rec.RateHz)
	}
	return v
}

// budgets propagates sensitivities, offsets and noise by changing one channel after
// the other by its standard uncertainty (JCGM 100:2008, 5.1.3, note 2). The lengths
// of the arms count as exact.
func (n *nineChannels) budgets(c *computation, g *[9][]float64) {
	m := c.rec.Len()
	floats := func() [3][]float64 { return [3][]float64{c.floats(m), c.floats(m), c.floats(m)} }
	w, a, r, changed := floats(), floats(), c.floats(m), c.floats(m)
	n.budget = map[string]gum.Budget{}
	base := n.measure(c, g, w, a, r).byName()
	for k, i := range n.index {
		relative := c.rec.Channels[i].ExpandedUncertaintyPercent / 100 / gum.CoverageFactor
		offset := 0.0
		if c.lead > 0 {
			offset = noiseOfMean(c.white[i], c.lead)
		}
		for _, s := range []struct {
			source        gum.Source
			input         float64
			factor, shift float64
		}{{gum.Sensitivity, relative, 1 + relative, 0}, {gum.Offset, offset, 1, offset}} {
			h := *g
			h[k] = changed
			for j, x := range g[k] {
				changed[j] = s.factor*x + s.shift
			}
			for name, v := range n.measure(c, &h, w, a, r).byName() {
				if d := v - base[name]; d != 0 {
					n.budget[name] = append(n.budget[name], gum.Contribution{Source: s.source, Component: k, Input: s.input, Standard: max(d, -d)})
				}
			}
		}
	}
	n.noise(c)
	for name := range base {
		for k := range n.index {
			n.budget[name] = append(n.budget[name], gum.Contribution{Source: gum.CrossAxis, Component: k, Unknown: true})
		}
	}
}

// noise adds what the filtered noise of all nine makes of a single sample of the
// angular acceleration, the largest of the three axes.
func (n *nineChannels) noise(c *computation) {
	if c.lead < 10 {
		return
	}
	g := n.signals(c.rec)
	a := [3][]float64{c.floats(c.lead), c.floats(c.lead), c.floats(c.lead)}
	n.Acceleration(a, &g)
	u := max(signal.Deviation(a[0]), signal.Deviation(a[1]), signal.Deviation(a[2]))
	const name = "peak_angular_acceleration"
	n.budget[name] = append(n.budget[name], gum.Contribution{Source: gum.Noise, Component: -1, Input: u, Standard: u})
}

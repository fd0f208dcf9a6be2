package simrig

import (
	"math"
	"math/rand/v2"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/signal"
)

// chain is one channel from sensor to file.
type chain struct {
	name      string
	measures  signal.Quantity
	axis      signal.Axis
	unit      string
	fullScale float64
	decimals  int
	cfc       int
	sensor    string

	noise, offset, gain float64
	cross               [3]float64 // share of each axis of the triad seen by this one
}

// newChains draws the imperfections of the rig's sensors.
func newChains(c Config, rng *rand.Rand) []chain {
	s := c.Sensors
	var out []chain
	triad := func(prefix, serial string, q signal.Quantity, unit string, full float64, decimals, cfc int) {
		for k, axis := range []signal.Axis{signal.X, signal.Y, signal.Z} {
			out = append(out, chain{
				name: prefix + axis.String(), measures: q, axis: axis, unit: unit,
				fullScale: full, decimals: decimals, cfc: cfc, sensor: serial + axis.String(),
				noise: full * s.NoiseOfFullScale, offset: full * s.OffsetOfFullScale * clip(rng.NormFloat64()),
				gain: 1 + s.SensitivitySD*clip(rng.NormFloat64()),
			})
			for j := range 3 {
				z := clip(rng.NormFloat64())
				if j != k {
					out[len(out)-1].cross[j] = s.CrossAxisSD * z
				}
			}
		}
	}
	single := func(name, serial string, q signal.Quantity, unit string, full, noise float64, decimals int) {
		out = append(out, chain{
			name: name, measures: q, unit: unit, fullScale: full, decimals: decimals, sensor: serial, noise: noise,
			gain: 1 + s.SensitivitySD*clip(rng.NormFloat64()), offset: full * s.OffsetOfFullScale * clip(rng.NormFloat64()),
		})
	}
	triad("a", "SIM-A", signal.LinearAcceleration, "g", s.LinearFullScaleG, 4, s.LinearCFC)
	triad("w", "SIM-W", signal.AngularVelocity, "rad/s", s.RateFullScaleRadS, 4, s.RateCFC)
	single("gate", "SIM-G", signal.LightGate, "V", 10, s.GateNoiseV, 4)
	if c.TwelveChannels {
		triad("f", "SIM-F", signal.Force, "N", s.ForceFullScaleN, 1, s.ForceCFC)
		single("tank", "SIM-P", signal.Pressure, "kPa", s.PressureFullKPa, s.PressureFullKPa*s.NoiseOfFullScale, 3)
		single("ram_force", "SIM-R", signal.Force, "N", s.RamFullScaleN, s.RamFullScaleN*s.NoiseOfFullScale, 1)
	}
	return out
}

func (r *Rig) chain(name string) int {
	for i := range r.chains {
		if r.chains[i].name == name {
			return i
		}
	}
	return -1
}

func (r *Rig) names() []string {
	var out []string
	for i := range r.chains {
		out = append(out, r.chains[i].name)
	}
	return out
}

// source is the true signal of a chain; triad is nil for a scalar.
func (r *Rig) source(c *chain, t *series) (own []float64, triad *[3][]float64) {
	switch {
	case c.measures == signal.LinearAcceleration:
		triad = &t.linG
	case c.measures == signal.AngularVelocity:
		triad = &t.rate
	case c.measures == signal.Force && c.axis != signal.NoAxis:
		triad = &t.neck
	case c.measures == signal.Pressure:
		return t.tank, nil
	case c.measures == signal.Force:
		return t.ramN, nil
	default:
		low := r.cfg.Sensors.GateVolts * 0.04
		own = make([]float64, len(t.gate))
		for i, b := range t.gate {
			if r.cfg.GateInverted {
				b = 1 - b
			}
			own[i] = low + r.cfg.Sensors.GateVolts*b
		}
		return own, nil
	}
	return triad[c.axis-signal.X], triad
}

// record passes the truth through the sensors. Every chain draws the same
// count of random numbers whatever its faults, so a fault on one channel
// leaves the others as they were.
func (r *Rig) record(t *series, faults []Fault, rng *rand.Rand) []Channel {
	out := make([]Channel, 0, len(r.chains))
	loud := r.loudest(t)
	for i := range r.chains {
		c := &r.chains[i]
		own, triad := r.source(c, t)
		v := make([]float64, len(own))
		drop := [3]float64{rng.Float64(), rng.Float64(), rng.Float64()}
		gain := c.gain
		var dead, loose bool
		for _, f := range faults {
			if f.Channel != c.name && !(f.Kind == Saturated && f.Channel == "" && i == loud) {
				continue
			}
			switch f.Kind {
			case Dead:
				dead = true
			case Reversed:
				gain = -gain
			case Saturated:
				gain *= max(1, 1.4*c.fullScale/max(largest(own), 1e-9))
			case Dropout:
				loose = true
			}
		}
		for j := range v {
			x := own[j]
			if triad != nil {
				for k := range 3 {
					x += c.cross[k] * triad[k][j]
				}
			}
			noise := rng.NormFloat64()
			if dead {
				v[j] = c.offset + 0.4*noise*c.bit(r.cfg.Sensors.Bits)
			} else {
				v[j] = gain*x + c.offset + c.noise*noise
			}
		}
		if loose {
			r.loosen(v, drop)
		}
		for j := range v {
			v[j] = c.digitise(v[j], r.cfg.Sensors.Bits)
		}
		out = append(out, Channel{Name: c.name, Unit: c.unit, Values: v, decimals: c.decimals})
	}
	return out
}

// loudest is the index of the linear channel with the largest peak.
func (r *Rig) loudest(t *series) int {
	best := 0
	for k := range 3 {
		if largest(t.linG[k]) > largest(t.linG[best]) {
			best = k
		}
	}
	return best // the linear triad comes first
}

// loosen sets three stretches of 0.4 to 1 ms to zero, the first of them within
// the pulse.
func (r *Rig) loosen(v []float64, at [3]float64) {
	pre := math.Round(r.cfg.PreS * r.cfg.RateHz)
	for k, u := range at {
		from := int(pre + (0.003+0.003*u)*r.cfg.RateHz)
		if k > 0 {
			from = int(u * float64(len(v)))
		}
		n := max(3, int((0.0004+0.0006*u)*r.cfg.RateHz))
		for j := from; j < min(from+n, len(v)); j++ {
			v[j] = 0
		}
	}
}

// bit is the step of the converter.
func (c *chain) bit(bits int) float64 { return c.fullScale / float64(int64(1)<<(bits-1)) }

// digitise clamps to the range, rounds to the converter's step, and then to
// the decimals of the file.
func (c *chain) digitise(x float64, bits int) float64 {
	x = min(max(x, -c.fullScale), c.fullScale)
	b := c.bit(bits)
	p := math.Pow10(c.decimals)
	return math.Round(math.Round(x/b)*b*p) / p
}

func largest(v []float64) float64 {
	m := 0.0
	for _, x := range v {
		m = max(m, math.Abs(x))
	}
	return m
}

// Map is the channel map of the rig's files.
func (r *Rig) Map() chanmap.Map {
	s := r.cfg.Sensors
	m := chanmap.Map{
		Name:       r.cfg.Name,
		Format:     chanmap.Format{Kind: "delimited"},
		Complete:   chanmap.Complete{Rule: "quiet", QuietMS: 1500},
		Time:       chanmap.Time{Column: "t", Unit: "s"},
		Processing: chanmap.Processing{BaselineMS: 15},
		Ram:        chanmap.Ram{MassKG: r.cfg.Ram.MassKG},
	}
	for i := range r.chains {
		c := &r.chains[i]
		ch := chanmap.Channel{
			Column: c.name, Measures: string(c.measures), Axis: c.axis.String(), Unit: c.unit,
			CFC: c.cfc, FullScale: c.fullScale, Sensor: c.sensor,
			ExpandedUncertaintyPercent: s.ExpandedPercent,
		}
		if c.measures == signal.LightGate {
			ch.FlagMM, ch.ExpandedUncertaintyPercent = r.cfg.Ram.FlagMM, s.GateExpandedPct
		}
		m.Channels = append(m.Channels, ch)
	}
	return m
}

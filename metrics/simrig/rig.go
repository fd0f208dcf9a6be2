package simrig

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"thudbook/metrics/fault"
)

// The codes of faults of a command.
const (
	Stalled    fault.Code = "ram_stalled"
	BadCommand fault.Code = "bad_command"
)

// FaultKind is something wrong with one channel.
type FaultKind string

// The faults that a Command can ask for.
const (
	Dead      FaultKind = "dead"      // an open cable: offset and the last bit only
	Reversed  FaultKind = "reversed"  // two wires swapped
	Saturated FaultKind = "saturated" // an amplifier left at far too high a gain
	Dropout   FaultKind = "dropout"   // a loose plug: short stretches read zero
)

// Fault asks for a fault on a channel. Saturated may leave the channel open:
// then it is the linear channel with the largest peak.
type Fault struct {
	Kind    FaultKind
	Channel string
}

// ParseFault reads "dead:ay", "reversed:wz", "saturated", "dropout:ax".
func ParseFault(s string) (Fault, error) {
	kind, channel, _ := strings.Cut(strings.TrimSpace(s), ":")
	f := Fault{FaultKind(kind), channel}
	switch f.Kind {
	case Dead, Reversed, Dropout:
		if channel == "" {
			return Fault{}, badCommand(fmt.Sprintf("fault %q names no channel", s), "write it as "+kind+":ax")
		}
	case Saturated:
	default:
		return Fault{}, badCommand(fmt.Sprintf("unknown fault %q", s), "use dead:CHANNEL, reversed:CHANNEL, dropout:CHANNEL or saturated")
	}
	return f, nil
}

// Command is one shot as the operator sets it.
type Command struct {
	PressureKPa float64 // gauge
	Location    string  // of Locations; not needed for a dry stroke
	Dry         bool    // a stroke without a head form in the way
	Padding     Padding // of this specimen; zero: the rig's own
	Faults      []Fault
}

// Rig is a ram with its wear and its sensors. It is not safe for concurrent
// use: a ram fires one shot at a time.
type Rig struct {
	cfg          Config
	chains       []chain
	flagMM       float64 // true width
	strokes      int     // ever
	sinceService int
}

// New builds a rig. What varies between rigs of one configuration (offsets,
// sensitivities, cross-axis, flag) follows from the seed.
func New(c Config) *Rig {
	rng := rand.New(rand.NewPCG(c.Seed, 0))
	return &Rig{
		cfg: c, chains: newChains(c, rng), flagMM: c.Ram.FlagMM + c.Ram.FlagSDMM*clip(rng.NormFloat64()),
		strokes: c.StrokesBefore, sinceService: c.StrokesBeforeService,
	}
}

// Service puts new seals in: friction is as new from the next stroke on.
func (r *Rig) Service() { r.sinceService = 0 }

// Strokes counts all strokes ever, and those since the last service.
func (r *Rig) Strokes() (total, sinceService int) { return r.strokes, r.sinceService }

// PressureFor is the pressure in kPa gauge that the chart made right after
// service gives for a speed at contact. Wear makes the true speed lower.
func (r *Rig) PressureFor(speedMS float64) float64 { return r.cfg.Ram.PressureFor(speedMS) }

// SpeedFor is the speed in m/s that the same chart gives for a pressure.
func (r *Rig) SpeedFor(gaugeKPa float64) float64 { return r.cfg.Ram.SpeedFor(gaugeKPa) }

// Fire makes one stroke. The n-th stroke of a seed draws its own random
// numbers, so it does not depend on how the strokes before it were asked for,
// only on their number. A refused command (a *fault.Error with BadCommand) is
// no stroke; a ram that stalls is one.
func (r *Rig) Fire(c Command) (Shot, error) {
	loc, err := r.check(&c)
	if err != nil {
		return Shot{}, err
	}
	r.strokes++
	wear := 1 + r.cfg.Ram.WearPerStroke*float64(r.sinceService)
	r.sinceService++
	rng := rand.New(rand.NewPCG(r.cfg.Seed, uint64(r.strokes)))

	ram := r.cfg.Ram
	pressure := c.PressureKPa + ram.PressureSDKPa*clip(rng.NormFloat64())
	seal := ram.SealFrictionN * wear * (1 + ram.FrictionSD*clip(rng.NormFloat64()))
	stiff := 1 + c.Padding.StiffnessSD*clip(rng.NormFloat64())
	var jitter vec
	for i := range jitter {
		jitter[i] = r.cfg.Sensors.ContactJitterMM / 1000 * clip(rng.NormFloat64())
	}
	fly, err := ram.fly(pressure, seal)
	if err != nil {
		return Shot{}, err
	}
	along := vec(loc.Direction)
	s := system{
		ram: ram, head: r.cfg.Head,
		k: c.Padding.StiffnessNM15 * loc.Stiffness * stiff, c: c.Padding.DampingSM,
		dir: along, point: vec(loc.PointM).add(jitter.sub(along.scale(jitter.dot(along)))),
		slide: vec{along[0], along[1], 0}, noTarget: c.Dry,
	}
	shot := Shot{
		Number: r.strokes, SinceService: r.sinceService, Command: c,
		Rig: r.cfg.Name, Seed: r.cfg.Seed,
		RateHz: r.cfg.RateHz, StartS: -math.Round(r.cfg.PreS*r.cfg.RateHz) / r.cfg.RateHz,
	}
	truth := r.run(&s, fly, &shot.Truth)
	shot.Truth.PressureKPa, shot.Truth.SealFrictionN = pressure, seal
	shot.Channels = r.record(truth, c.Faults, rng)
	return shot, nil
}

// check refuses what no operator should set, and fills in the padding.
func (r *Rig) check(c *Command) (Location, error) {
	if !(c.PressureKPa > 0) || c.PressureKPa > r.cfg.Ram.RatedKPa {
		return Location{}, badCommand(fmt.Sprintf("%g kPa gauge is not above 0 and up to the rated %g kPa", c.PressureKPa, r.cfg.Ram.RatedKPa),
			"give a tank pressure in kPa gauge below the rated pressure")
	}
	for _, f := range c.Faults {
		if f.Kind == Saturated && f.Channel == "" {
			continue
		}
		if r.chain(f.Channel) < 0 {
			return Location{}, badCommand(fmt.Sprintf("there is no channel %q to put a fault on", f.Channel),
				"the channels are "+strings.Join(r.names(), ", "))
		}
	}
	if c.Padding == (Padding{}) {
		c.Padding = r.cfg.Padding
	}
	loc, ok := FindLocation(c.Location)
	if !ok && c.Dry && c.Location == "" {
		return Locations()[0], nil
	}
	if !ok {
		var names []string
		for _, l := range Locations() {
			names = append(names, l.Name)
		}
		return Location{}, badCommand(fmt.Sprintf("unknown location %q", c.Location), "the locations are "+strings.Join(names, ", "))
	}
	return loc, nil
}

func badCommand(what, fix string) *fault.Error {
	return &fault.Error{Code: BadCommand, What: what, Fix: fix}
}

// clip keeps a normal draw within three standard deviations, so that no single
// shot of a long series is absurd.
func clip(z float64) float64 { return min(max(z, -3), 3) }

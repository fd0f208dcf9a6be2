package ram

import (
	"fmt"
	"math"

	"thudbook/metrics/fault"
	"thudbook/metrics/signal"
)

// Assumed standard uncertainties, used where the channel says nothing better.
// Common practice, no published source.
const (
	flagWidthUncertaintyMM = 0.02 // a calliper reading of the flag
	spikeSamples           = 2    // a change this short is a disturbance, not a flag
	returnFactor           = 5    // a later passage is a return when so many passage times lie between
)

// TimeBaseRelative is the half width of the tolerance of the acquisition's clock
// that is assumed. Common practice, no published source.
const TimeBaseRelative = 100e-6

// Levels at which the gate counts as changed, as a fraction of the step
// between clear and blocked: hysteresis around the half level.
const (
	quietLevel  = 0.3
	halfLevel   = 0.5
	activeLevel = 0.7
)

// Passage is one flag passing the gate.
type Passage struct {
	SpeedMS float64
	// StandardUncertaintyMS combines flag width, time base and edges.
	StandardUncertaintyMS float64
	// Its parts: what each makes of the speed.
	FlagUncertaintyMS, ClockUncertaintyMS, EdgesUncertaintyMS float64
	FlagAssumed                                               bool    // the flag's width is taken as known to 0.02 mm, for want of a statement
	FirstEdgeS, LastEdgeS                                     float64 // times of the half level
	SpikesIgnored                                             int     // changes too short to be a flag
	ReturnedAtS                                               float64 // start of a second passage, the ram coming back; NaN when there was none
}

// GateSpeed is the mean speed in m/s of the flag of width gate.FlagMM through
// a light gate, and its expanded uncertainty (k = 2). See MeasurePassage.
func GateSpeed(rec *signal.Recording, gate *signal.Channel) (speedMS, expandedUncertaintyMS float64, err error) {
	p, err := MeasurePassage(rec, gate)
	if err != nil {
		return 0, 0, err
	}
	return p.SpeedMS, 2 * p.StandardUncertaintyMS, nil
}

// MeasurePassage finds the flag in a gate channel, which may be normally low
// or normally high. The edges are the linearly interpolated crossings of the
// half level. A ram that comes back through the gate well after the first
// passage does not spoil it. Samples that are not finite are stepped over, at the price of a
// wider uncertainty when they fall on an edge.
//
// The uncertainty is that of v = w/dt (JCGM 100:2008, 5.1.2): flag width
// (gate.ExpandedUncertaintyPercent at k = 2 where given, else 0.02 mm), time
// base, and each edge: q/sqrt(12) for an edge that falls between two samples q
// apart, or noise over slope where the samples lie on the edge itself.
//
// Every error is a *fault.Error naming the channel.
func MeasurePassage(rec *signal.Recording, gate *signal.Channel) (Passage, error) {
	if !(gate.FlagMM > 0) || math.IsInf(gate.FlagMM, 1) {
		return Passage{}, gateFault(gate, FlagUnknown, "the width of the light gate's flag is not known",
			"set flag_mm of this channel in the channel map")
	}
	steps, err := normalise(rec, gate)
	if err != nil {
		return Passage{}, err
	}
	found, spikes := passages(steps)
	switch {
	case len(found) == 0:
		return Passage{}, gateFault(gate, NoEdge, "the light gate's level never changed for long enough to be a flag",
			"check that the gate is switched on and that the flag passes it, or type the speed")
	case len(found) > 1 && !returned(found, steps):
		return Passage{}, gateFault(gate, SeveralFlags,
			fmt.Sprintf("%d flags passed the light gate, the first two at %.5f s and %.5f s",
				len(found), found[0].first(steps), found[1].first(steps)),
			"check for a returning ram or a second flag, or type the speed")
	}
	run := found[0]
	if run.from < 0 || run.to < 0 {
		which, where := "left", "begins"
		if run.to < 0 {
			which, where = "entered", "ends"
		}
		return Passage{}, gateFault(gate, OneEdge,
			fmt.Sprintf("only one edge of the flag was seen: it %s the light gate, and the record %s with the gate blocked", which, where),
			"record for longer before or after the trigger, or type the speed")
	}
	first, last := edgeTime(steps, run.quietBefore, run.from), edgeTime(steps, run.to, run.quietAfter)
	dt := last.atS - first.atS
	if !(dt > 0) {
		return Passage{}, gateFault(gate, OneEdge, "both edges of the flag fall on the same instant",
			"sample the light gate faster, or type the speed")
	}
	back := math.NaN()
	if len(found) > 1 {
		back = found[1].first(steps)
	}
	widthM := gate.FlagMM / 1000
	relWidth := flagWidthUncertaintyMM / gate.FlagMM
	if gate.ExpandedUncertaintyPercent > 0 {
		relWidth = gate.ExpandedUncertaintyPercent / 2 / 100
	}
	relEdges := math.Hypot(first.uS, last.uS) / dt
	relClock := TimeBaseRelative / math.Sqrt(3)
	v := widthM / dt
	return Passage{
		SpeedMS:               v,
		StandardUncertaintyMS: v * math.Sqrt(relWidth*relWidth+relEdges*relEdges+relClock*relClock),
		FlagUncertaintyMS:     v * relWidth, ClockUncertaintyMS: v * relClock, EdgesUncertaintyMS: v * relEdges,
		FlagAssumed: gate.ExpandedUncertaintyPercent <= 0,
		FirstEdgeS:  first.atS, LastEdgeS: last.atS,
		SpikesIgnored: spikes, ReturnedAtS: back,
	}, nil
}

// returned reports whether what passed the gate after the first flag can only
// be the ram coming back from the impact: it must have left the gate clear for
// several times as long as the first passage took. A ram that rebounds is
// slower than it came, and must first travel to the head form and back.
func returned(found []run, b *beam) bool {
	first := found[0]
	if first.from < 0 || first.to < 0 {
		return false
	}
	left := b.step(first.to).atS
	return found[1].first(b)-left > returnFactor*(left-first.first(b))
}

func gateFault(gate *signal.Channel, code fault.Code, what, fix string) *fault.Error {
	return &fault.Error{Code: code, What: what, Channel: gate.Name, Fix: fix}
}

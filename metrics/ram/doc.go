// Package ram computes what a linear ram did and is expected to do: its speed
// from a light gate, its kinetic energy, and the relation of tank pressure to
// speed, and control charts for its drift. Uncertainties follow JCGM 100:2008.
//
// Nothing here fires a ram, and nothing is proposed outside the range of the
// pressures that were observed.
package ram

import "thudbook/metrics/fault"

// The codes of faults found here.
const (
	FlagUnknown     fault.Code = "gate_flag_unknown"     // no flag width given
	NoEdge          fault.Code = "gate_no_edge"          // the gate never changed
	OneEdge         fault.Code = "gate_one_edge"         // the flag entered or left outside the record
	SeveralFlags    fault.Code = "gate_several_flags"    // more than one passage
	TooFewShots     fault.Code = "too_few_shots"         // not enough pressures and speeds for a line
	NoRise          fault.Code = "speed_does_not_rise"   // speed does not rise with pressure
	OutsideObserved fault.Code = "outside_observed"      // beyond the pressures of the fit
	NoInterval      fault.Code = "no_finite_interval"    // the slope is too uncertain for an inverse
	BadPair         fault.Code = "bad_pressure_or_speed" // not finite, or negative
	BadChart        fault.Code = "bad_chart"             // a control chart with settings that make no chart
	BadPoint        fault.Code = "bad_chart_point"       // a value that is not finite
)

// Energy is the kinetic energy in joules of massKG moving at speedMS.
func Energy(massKG, speedMS float64) float64 { return 0.5 * massKG * speedMS * speedMS }

package score

import (
	"fmt"
	"slices"
)

// FlagCode names a reason to look twice. Codes are part of the outside contract.
type FlagCode string

// The flags, in the order in which they are shown.
const (
	BaselineInImpact     FlagCode = "baseline_in_impact"
	UnitConflict         FlagCode = "unit_conflict"
	ChannelUnreadable    FlagCode = "channel_unreadable"
	IncompleteTriad      FlagCode = "incomplete_triad"
	Saturated            FlagCode = "saturated"
	DeadChannel          FlagCode = "dead_channel"
	Dropout              FlagCode = "dropout"
	ReversedChannel      FlagCode = "reversed_channel"
	SwappedChannels      FlagCode = "swapped_channels"
	NotOneBody           FlagCode = "not_one_body"
	BaselineDrift        FlagCode = "baseline_drift"
	VelocityImplausible  FlagCode = "velocity_implausible"
	NoiseFloor           FlagCode = "noise_floor"
	RateTooLow           FlagCode = "rate_too_low"
	UnevenSampling       FlagCode = "uneven_sampling"
	Unfiltered           FlagCode = "unfiltered"
	NoBaseline           FlagCode = "no_baseline"
	TooLittlePretrigger  FlagCode = "too_little_pretrigger"
	NoReturnBelow4g      FlagCode = "no_return_below_4g"
	NoImpact             FlagCode = "no_impact"
	PositionNotCorrected FlagCode = "position_not_corrected"
	SpeedUnknown         FlagCode = "speed_unknown"
	SpeedMismatch        FlagCode = "speed_mismatch"
	TwinsDisagree        FlagCode = "twins_disagree"
	Manual               FlagCode = "manual"
	MapGuessed           FlagCode = "map_guessed"
	MapUnsure            FlagCode = "map_unsure"
	RowLeftOut           FlagCode = "row_left_out"
	ChannelNotUsed       FlagCode = "channel_not_used"
	OutOfRange           FlagCode = "out_of_range"
	CalibrationConflict  FlagCode = "calibration_conflict"
	SensitivityCorrected FlagCode = "sensitivity_corrected"
	UncertaintyUnknown   FlagCode = "uncertainty_unknown"
)

// FlagMeaning is one row of the table for people.
type FlagMeaning struct {
	Code    FlagCode
	Meaning string // what was seen and what it does to the results
	Action  string // what to do about it
}

// FlagTable lists every flag that a report can carry.
func FlagTable() []FlagMeaning {
	return []FlagMeaning{
		{BaselineInImpact, "The baseline window of the channel map reaches into the impact: part of the pulse was taken off as if it were offset, and every result of linear acceleration and angular velocity is wrong, in general too low. None carries an uncertainty, and noise and drift before the impact were not judged.", "Set processing.baseline_ms to less than the time at rest before the impact, or record longer before the trigger; then compute the shot again."},
		{UnitConflict, "The file names another unit than the channel map for a channel, or for the time. The map's was used; if the file is right, all that rests on the channel is wrong by the factor that the flag gives.", "Find out in the set-up of the acquisition in which unit it writes; correct the unit in the channel map, then compute the shot again. If the file names the wrong one, mend it there."},
		{ChannelUnreadable, "The channel has samples that could not be read, or its column is missing; every metric that needs it is left out.", "Check cable and file; read the error for the place."},
		{IncompleteTriad, "The map has fewer than three axes of this quantity; the resultant is that of the axes there are and is too small in general.", "Map the missing axes."},
		{Saturated, "Samples lie at full scale, or in a flat top below it, as where an amplifier clipped at less than the sensor bears; the true peak was higher, and every metric built on it is too low. By how much is not known: no result of that quantity carries an uncertainty, and those that the clipping can only have lowered say \"lower bound\".", "Raise the range of the amplifier; void the shot if the peak counts."},
		{DeadChannel, "The channel shows one constant value, or no more than its own noise while the others show an impact.", "Check sensor, cable and excitation before the next shot."},
		{Dropout, "The channel stood still on one value inside a moving signal, or fell to one value and came back.", "Check cable and connector; look at the trace before accepting."},
		{ReversedChannel, "Two channels of one quantity and axis run against each other, or one of nine accelerometers does not fit the motion of the others: it has the wrong sign. A single axis with the wrong sign cannot be found out: nothing else in the record tells its direction.", "With the tank vented and locked out, tap the head form and compare the signs with SAE J211; put a minus before the axis in the map."},
		{SwappedChannels, "Two of nine accelerometers fit the motion of the others only when they are exchanged.", "Compare the cables with the channel map."},
		{NotOneBody, "Nine accelerometers do not fit one rigid body, and no single exchange or sign explains it; angular metrics are not to be trusted.", "Check positions, signs and sensitivities of all nine."},
		{BaselineDrift, "The signal moves before the impact so much that, going on, it would falsify the peak by more than 1 %; hum of the mains looks alike.", "Let the sensors warm up; check coupling and grounding."},
		{VelocityImplausible, "The acceleration adds up to a velocity change that the ram cannot give, or to less than a tenth of the ram's speed.", "Check units, sensitivities, the speed and the ram's mass; a glancing blow gives little."},
		{NoiseFloor, "The filtered noise before the impact is more than 2 % of the peak.", "Check grounding, range and mounting."},
		{RateTooLow, "The sample rate is less than the ten times the filter class that SAE J211-1 asks for; the filter's corner moves, or the channel was left unfiltered.", "Sample faster."},
		{UnevenSampling, "Times are uneven or repeat; samples of one time were averaged, and a filter or a derivative cannot be applied to the channel.", "Export with the original even sampling."},
		{Unfiltered, "The channel was not filtered: the map gives no class, or the record does not allow one.", "Set cfc in the channel map."},
		{NoBaseline, "The map gives no baseline window; the offset of the sensors is still in the signals.", "Set processing.baseline_ms in the channel map."},
		{TooLittlePretrigger, "Less than 10 ms lie before the impact; offset and filter start-up may disturb the results.", "Record longer before the trigger."},
		{NoReturnBelow4g, "The resultant does not fall below 4 g after the peak before the record ends; severity index, duration and velocity change are cut off, are lower bounds and carry no uncertainty; where the record ends above half of the peak, neither does any other result of the motion.", "Record for longer."},
		{NoImpact, "The resultant never exceeds 4 g; the metrics that are taken between the 4 g crossings are left out.", "Check trigger and channel map. A dry stroke looks like this: recorded as one, by its kind, it carries neither this flag nor those of noise and of no uncertainty."},
		{PositionNotCorrected, "The accelerometers do not sit at the centre of gravity, and there are no three angular rates to move them there; the values are those at the sensor.", "Map three angular velocity channels, or mount at the centre of gravity."},
		{SpeedUnknown, "The light gate's channel does not give a speed.", "Check gate and flag; type the speed if it was read elsewhere."},
		{SpeedMismatch, "The typed speed differs from that of the light gate by more than 2 %; the gate's is used.", "Find out which of them is right."},
		{TwinsDisagree, "Two sensors that measure the same at the same place differ: two light gates by more than 2 % of the speed, two channels of one quantity, axis and position by more than 5 % of the peak, or by more than their expanded uncertainties together where those are larger. The results use the first of them; which of the two is wrong is not known.", "Compare both with a third: another gate, a check on the reference pad, or a calibration. After five strokes in turn it stands on the list of what is due."},
		{Manual, "The value was typed in and not measured by a channel.", "Nothing; it stays marked."},
		{MapGuessed, "No channel map was given; columns were assigned by their names.", "Check the guess and save it as a map."},
		{MapUnsure, "Something about how the file was read is not sure: a part of a guessed map, or what the file says beside the saved one. The flag's text says what.", "Look at what it names, and say it in the channel map."},
		{RowLeftOut, "The last row of the file is cut short and was left out.", "Check that the acquisition finished writing."},
		{ChannelNotUsed, "A second channel measures the same quantity along the same axis; the metrics use the first that can be read.", "Nothing, if it is a spare."},
		{OutOfRange, "A result is not a finite number and was left out.", "Check units and sensitivities in the map."},
		{CalibrationConflict, "The certificate in force when the shot was fired and the channel map do not agree, or the certificate cannot be applied. Where it can be applied it holds, since it belongs to the sensor that was mounted; where it cannot, the map's sensitivity was used. The flag's text says which.", "Correct the map, or the sensor mounted at this position."},
		{SensitivityCorrected, "A later calibration found the sensor's sensitivity changed, and a person recorded from when on it is taken to have been so; the results were computed again with the corrected one.", "Read the nonconformity report that the shot's screen names; the results before it are kept."},
		{UncertaintyUnknown, "No uncertainty is given for an input, or none can be given, since the signal is clipped, cut or lost in noise, or the baseline window reaches into the impact; the result carries none. The flag's text says which.", "Set expanded_uncertainty_percent from the calibration certificate, or mend what the text names."},
	}
}

// flagSet collects flags without repeating one.
type flagSet struct{ flags []Flag }

func (s *flagSet) add(code FlagCode, channel, format string, args ...any) {
	f := Flag{Code: code, Channel: channel, Text: fmt.Sprintf(format, args...)}
	if !slices.Contains(s.flags, f) {
		s.flags = append(s.flags, f)
	}
}

func (s *flagSet) has(code FlagCode) bool {
	return slices.ContainsFunc(s.flags, func(f Flag) bool { return f.Code == code })
}

// sorted gives the flags in the order of the table, then of their discovery.
func (s *flagSet) sorted() []Flag {
	rank := make(map[FlagCode]int)
	for i, m := range FlagTable() {
		rank[m.Code] = i
	}
	slices.SortStableFunc(s.flags, func(a, b Flag) int { return rank[a.Code] - rank[b.Code] })
	if s.flags == nil {
		return []Flag{}
	}
	return s.flags
}

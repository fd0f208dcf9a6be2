package shock

import (
	"fmt"
	"math"
)

// WarningCode names a reason to look twice at a spectrum.
type WarningCode string

// The warnings.
const (
	RateTooLow  WarningCode = "rate_too_low_for_frequency"
	StartsHigh  WarningCode = "record_starts_away_from_zero"
	EndsHigh    WarningCode = "record_ends_away_from_zero"
	RecordShort WarningCode = "record_shorter_than_period"
	AboveClass  WarningCode = "frequency_above_filter_class"
)

// Warning is one reason to look twice, in words.
type Warning struct {
	Code WarningCode
	Text string
}

// Limits of the warnings.
const (
	// ratePerFrequency is how many samples a period the practice of ISO 18431-4 asks
	// for, so that the largest sample is within 5 % of the largest value (from
	// memory, not confirmed against print; the share itself is SamplingError).
	ratePerFrequency = 10
	// endShare of the largest magnitude at either end shows an offset or a cut record.
	// Common practice, no published source.
	endShare = 0.05
)

// SamplingError is the largest share of the peak of a sine by which its largest sample
// can lie below it: 1 − cos(π·f/rate). 4.9 % at a tenth of the rate.
func SamplingError(frequencyHz, rateHz float64) float64 {
	return 1 - math.Cos(math.Pi*frequencyHz/rateHz)
}

func warnings(a []float64, rateHz float64, s Settings) []Warning {
	var out []Warning
	add := func(code WarningCode, format string, args ...any) {
		out = append(out, Warning{code, fmt.Sprintf(format, args...)})
	}
	highest, lowest := 0.0, math.Inf(1)
	for _, f := range s.FrequenciesHz {
		highest, lowest = max(highest, f), min(lowest, f)
	}
	if highest*ratePerFrequency > rateHz*(1+1e-9) {
		add(RateTooLow, "Above %.4g Hz the record has fewer than %d samples a period; the largest sample of the primary response there can lie up to %.2g %% below its true maximum. Sample faster, or end the spectrum there.",
			rateHz/ratePerFrequency, ratePerFrequency, 100*SamplingError(highest, rateHz))
	}
	peak := 0.0
	for _, v := range a {
		peak = max(peak, math.Abs(v))
	}
	if math.Abs(a[0]) > endShare*peak {
		add(StartsHigh, "The record starts at %.3g, %.2g %% of its largest magnitude; it is taken to rise there from zero within one sample. Record from before the shock, and take the offset off.", a[0], 100*math.Abs(a[0])/peak)
	}
	if last := a[len(a)-1]; math.Abs(last) > endShare*peak {
		add(EndsHigh, "The record ends at %.3g, %.2g %% of its largest magnitude; it is taken to fall to zero within one sample. Record for longer, or take the offset off.", last, 100*math.Abs(last)/peak)
	}
	if length := float64(len(a)) / rateHz; length*lowest < 1-1e-9 {
		add(RecordShort, "Below %.3g Hz a period is longer than the record of %.3g s; there an offset of the sensor can outweigh the shock. Start the spectrum higher, or make sure of the offset.", 1/length, length)
	}
	return out
}

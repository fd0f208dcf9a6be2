package score

import (
	"context"

	"thudbook/metrics/shock"
	"thudbook/metrics/signal"
)

// ShockRequest says which shock response spectra are wanted.
type ShockRequest struct {
	shock.Request
	// Unfiltered takes the record before its channel filters, at the place of the
	// sensors, offset off. Without it the spectra are of what the other results are
	// computed from: filtered, moved to the centre of gravity.
	Unfiltered bool
}

// ShockSpectra computes the shock response spectra of what a report was made of. The
// report must hold its signals: score without ResultsOnly. Errors: the report's own
// where nothing was read, else those of shock.Of.
func ShockSpectra(ctx context.Context, rep *Report, r ShockRequest) (shock.Spectra, error) {
	if rep.Detail == nil || rep.Detail.Raw == nil || rep.Detail.Filtered == nil || rep.Process == nil {
		if rep.Error != nil {
			return shock.Spectra{}, rep.Error
		}
		return shock.Spectra{}, &shock.Refused{Text: "the report holds no signals"}
	}
	if !r.Unfiltered {
		return shock.Of(ctx, rep.Detail.Filtered, rep.Process.CFC, r.Request)
	}
	return shock.Of(ctx, offsetOff(rep.Detail.Raw, rep.Process.BaselineMS/1000), nil, r.Request)
}

// offsetOff takes the mean of the baseline window off the channels of acceleration.
func offsetOff(raw *signal.Recording, windowS float64) *signal.Recording {
	out := *raw
	out.Channels = make([]signal.Channel, len(raw.Channels))
	lead := raw.LeadSamples(windowS)
	for i, ch := range raw.Channels {
		if ch.Measures == signal.LinearAcceleration && lead > 0 {
			offset := signal.Mean(ch.Values[:lead])
			values := make([]float64, len(ch.Values))
			for k, v := range ch.Values {
				values[k] = v - offset
			}
			ch.Values = values
		}
		out.Channels[i] = ch
	}
	return &out
}

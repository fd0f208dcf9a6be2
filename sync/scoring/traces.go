package scoring

import (
	"context"

	"thudbook/metrics/score"
	"thudbook/metrics/signal"
)

// Traces are the curves of one shot.
type Traces struct {
	Raw      *signal.Recording // as read, in base units; nil when nothing could be read
	Filtered *signal.Recording // baseline off, filtered, at the centre of gravity; nil when nothing could be filtered
	// Resultants over the time base of Filtered, nil where channels are missing.
	LinearG                  []float64
	AngularRadS              []float64
	AngularAccelerationRadS2 []float64 // rad/s²
	Report                   score.Report
}

// Traces computes the curves of one job. The error is as that of Score; what
// is wrong with the data is in Report.
func (s *Scorer) Traces(ctx context.Context, j Job) (*Traces, error) {
	rep, err := s.Report(ctx, j)
	if err != nil {
		return nil, err
	}
	t := &Traces{Report: rep}
	if d := rep.Detail; d != nil {
		t.Raw, t.Filtered = d.Raw, d.Filtered
		t.LinearG, t.AngularRadS, t.AngularAccelerationRadS2 = d.Linear, d.Angular, d.AngularAcceleration
	}
	return t, nil
}

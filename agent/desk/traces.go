package desk

import (
	"context"
	"sync"

	"github.com/google/uuid"

	"thudbook/metrics/score"
	"thudbook/metrics/shock"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
	"thudbook/sync/view"
	"thudbook/web/chart"
	"thudbook/web/present"
)

// keptTraces is how many shots' traces are kept ready: the screen asks for the
// same ones twice, as a picture and as numbers.
const keptTraces = 4

// tracer reads the channels of a shot again from its bytes.
type tracer struct {
	scorer scoring.Scorer
	read   *view.Reader

	mu   sync.Mutex
	kept []tracedShot // oldest first
}

type tracedShot struct {
	id     uuid.UUID
	scored view.Stamp // the score by which they were drawn
	traces *chart.Traces
	why    string // when there are none
}

// of gives the traces of a shot, or says why there are none.
func (t *tracer) of(ctx context.Context, r *view.ShotRow) (*chart.Traces, string, error) {
	t.mu.Lock()
	defer t.mu.Unlock() // one at a time: reading a record takes memory
	for _, k := range t.kept {
		if k.id == r.ID && k.scored == r.Scored() {
			return k.traces, k.why, nil
		}
	}
	got, err := t.signals(ctx, r)
	if err != nil {
		return nil, "", err
	}
	k := tracedShot{id: r.ID, scored: r.Scored()}
	if k.traces = present.Traces(got); k.traces == nil {
		k.why = "No channel of the file could be read."
	}
	if len(t.kept) == keptTraces {
		t.kept = t.kept[1:]
	}
	t.kept = append(t.kept, k)
	return k.traces, k.why, nil
}

// spectra computes shock response spectra of a shot anew; nothing is kept.
func (t *tracer) spectra(ctx context.Context, r *view.ShotRow, request score.ShockRequest) (*shock.Spectra, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	got, err := t.signals(ctx, r)
	if err != nil {
		return nil, err
	}
	s, err := score.ShockSpectra(ctx, &got.Report, request)
	return &s, err
}

// signals reads the channels of a shot from its bytes.
func (t *tracer) signals(ctx context.Context, r *view.ShotRow) (*scoring.Traces, error) {
	job := scoring.JobOf(r)
	var err error
	if job.Calibrations, err = scoring.UsedBy(ctx, t.read, scope.All(), r.ID); err != nil {
		return nil, err
	}
	return t.scorer.Traces(ctx, job)
}

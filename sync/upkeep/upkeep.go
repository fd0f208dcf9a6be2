// Package upkeep says what makes an item due for a service beside its strokes
// and days: what was seen at the rig where it sat.
package upkeep

import (
	"context"
	"math"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/metrics/ram"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/speed"
	"thudbook/sync/view"
)

// What was seen.
const (
	FailedCheck = "failed_check" // a system check beyond its limits
	SpeedDrift  = "speed_drift"  // the speed at a given pressure left the limits of its control charts
)

// Cause is one thing that was seen, after the last service of the item and
// while it sat at the rig. A service at or after At clears it; so does what
// makes it unseen: a void, other limits of the check, a service of the ram whose
// speed it was.
type Cause struct {
	Code string
	At   lab.Time // of Shot
	Shot uuid.UUID
	Rig  uuid.UUID
	Text string // of a failed check, what was beyond which limit
	// OffMS is of a drift, how far the moving average of measured less predicted
	// speed was from where it began, in m/s; negative: slower.
	OffMS float64
}

// Watch looks at the items of a scope as things stand at one moment. It reads
// each rig once, and serves one goroutine.
type Watch struct {
	Read  *view.Reader
	Scope scope.Scope
	Now   time.Time

	reads  *view.Reader // Read, once for each rig
	checks map[uuid.UUID][]view.CheckRow
	drifts map[uuid.UUID][]Cause
	twins  map[uuid.UUID][]compared
}

// Due is how an item stands against the plan that holds for it.
type Due struct {
	view.ServiceDue
	Causes []Cause // of each kind the latest failed check and the first drift; empty: nothing was seen
}

// IsDue says that strokes or days are used up, or that something was seen.
func (d *Due) IsDue() bool { return d.ServiceDue.IsDue() || len(d.Causes) > 0 }

// Of gives how an item stands. also names further ids of its lab.
func (w *Watch) Of(ctx context.Context, item uuid.UUID, also ...record.LabID) (d Due, err error) {
	if w.reads == nil {
		w.reads = view.Remembering(w.Read, w.Scope)
	}
	if d.ServiceDue, err = w.reads.ServiceDue(ctx, w.Scope, item, w.Now, also...); err != nil {
		return d, err
	}
	if !d.Plan.AfterCheck && !d.Plan.AfterDrift {
		return d, nil
	}
	var since lab.Time
	if d.LastService != nil {
		since = d.LastService.Service.EffectiveAt + 1
	}
	sat, err := w.Read.Sat(ctx, w.Scope, item, since, lab.At(w.Now)+1)
	if err != nil {
		return d, err
	}
	if d.Plan.AfterCheck {
		c, err := w.failed(ctx, sat)
		if err != nil {
			return d, err
		}
		d.Causes = append(d.Causes, c...)
	}
	if d.Plan.AfterDrift {
		c, err := w.drifted(ctx, sat)
		if err != nil {
			return d, err
		}
		d.Causes = append(d.Causes, c...)
	}
	return d, nil
}

// failed gives the latest check that failed in the times.
func (w *Watch) failed(ctx context.Context, sat []view.Sat) (out []Cause, err error) {
	for _, s := range slices.Backward(sat) {
		all, ok := w.checks[s.Rig]
		if !ok {
			if all, err = w.Read.Checks(ctx, w.Scope, s.Rig, math.MaxInt32); err != nil {
				return nil, err
			}
			if w.checks == nil {
				w.checks = map[uuid.UUID][]view.CheckRow{}
			}
			w.checks[s.Rig] = all
		}
		for i := range all { // newest first
			at := all[i].Shot.EffectiveAt
			if at >= s.From && at < s.To && all[i].State == view.CheckFailed {
				return []Cause{{Code: FailedCheck, At: at, Shot: all[i].ID, Rig: s.Rig, Text: all[i].Words()}}, nil
			}
		}
	}
	return nil, nil
}

// drifted gives the first stroke in the times with which a control chart of the
// rig's speed signalled.
func (w *Watch) drifted(ctx context.Context, sat []view.Sat) ([]Cause, error) {
	for _, s := range sat {
		all, ok := w.drifts[s.Rig]
		if !ok {
			h, err := speed.ReadSince(ctx, w.Read, w.Scope, s.Rig, w.Now)
			if err != nil {
				return nil, err
			}
			all = signals(&h, s.Rig)
			if w.drifts == nil {
				w.drifts = map[uuid.UUID][]Cause{}
			}
			w.drifts[s.Rig] = all
		}
		for _, c := range all {
			if c.At >= s.From && c.At < s.To {
				return []Cause{c}, nil
			}
		}
	}
	return nil, nil
}

// signals lists the strokes since the ram's service at which a chart is beyond
// its limits, oldest first; none where there are too few shots for charts.
func signals(h *speed.History, rig uuid.UUID) (out []Cause) {
	d, err := h.Drift()
	if err != nil { // no curve: nothing can drift from it
		return nil
	}
	for i := range d.EWMA {
		if d.EWMA[i].Signal != ram.InControl || d.CUSUM[i].Signal != ram.InControl {
			out = append(out, Cause{Code: SpeedDrift, At: d.Pairs[i].At, Shot: d.Pairs[i].Shot, Rig: rig, OffMS: d.EWMA[i].Z - d.Baseline.Target})
		}
	}
	return out
}

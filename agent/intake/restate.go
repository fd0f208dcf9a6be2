package intake

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
)

// restate is Restate where a correction was saved just before. That it cannot be
// done costs the new results, never the correction: the speed that is recorded holds.
func (in *Intake) restate(ctx context.Context, shot uuid.UUID) {
	if err := in.Restate(ctx, shot); err != nil {
		in.opt.Log.Warn("the corrected speed is saved; the shot could not be scored again by it", "shot", shot, "error", err)
	}
}

// Restate scores a shot again whose stated speed is not the one that its results
// rest on.
func (in *Intake) Restate(ctx context.Context, shot uuid.UUID) error {
	s, err := scoring.ByStated(ctx, in.opt.Views.Reader(in.opt.Store), scope.All(), shot)
	if err != nil || s == nil {
		return err
	}
	rep, b, err := in.scoreOrPanic(ctx, s.Job)
	if err != nil {
		return err
	}
	if b.Shot == uuid.Nil {
		return rep.Error
	}
	s.Follow(b)
	dr, err := scoreDraft(b, nil)
	if err == nil {
		_, err = in.Record(ctx, s.Row.Lab, func(kv.Tx) ([]ledger.Draft, error) { return []ledger.Draft{dr}, nil })
	}
	return err
}

package intake

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/scope"
	"thudbook/sync/scoring"
)

// restate scores a shot again whose stated speed is not the one that its results
// rest on, by the certificates of the score before. That it cannot be done costs
// the new results, never the correction: the speed that is recorded holds.
func (in *Intake) restate(ctx context.Context, shot uuid.UUID) {
	err := in.scoreStated(ctx, shot)
	if err != nil {
		in.opt.Log.Warn("the corrected speed is saved; the shot could not be scored again by it", "shot", shot, "error", err)
	}
}

func (in *Intake) scoreStated(ctx context.Context, shot uuid.UUID) error {
	read := in.opt.Views.Reader(in.opt.Store)
	row, err := read.Shot(ctx, scope.All(), shot)
	if err != nil {
		return err
	}
	scores, err := read.Scores(ctx, scope.All(), shot)
	if err != nil || len(scores) == 0 || sameSpeed(scores[0].Score.TypedSpeedMS, row.Shot.SpeedMS) {
		return err
	}
	job := scoring.JobOf(shot, &row.Shot)
	if job.Calibrations, err = scoring.UsedBy(ctx, read, scope.All(), shot); err != nil {
		return err
	}
	rep, b, err := in.scoreOrPanic(ctx, job)
	if err != nil {
		return err
	}
	if b.Shot == uuid.Nil {
		return rep.Error
	}
	if len(b.Reviews) == 0 {
		b.Reviews = scores[0].Score.Reviews // the certificates are as corrected by them
	}
	b.Turn = row.ScoreTurn + 1
	var notes []note
	for _, f := range scores[0].Score.Flags {
		if slices.ContainsFunc(lab.FlagTable(), func(m lab.FlagMeaning) bool { return m.Code == f.Code }) {
			notes = append(notes, note{f.Code, f.Text})
		}
	}
	dr, err := scoreDraft(b, notes)
	if err == nil {
		_, err = in.Record(ctx, row.Lab, func(kv.Tx) ([]ledger.Draft, error) { return []ledger.Draft{dr}, nil })
	}
	return err
}

func sameSpeed(a, b *float64) bool { return a == nil && b == nil || a != nil && b != nil && *a == *b }

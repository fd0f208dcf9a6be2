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
	job := scoring.JobOf(&row)
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
	dr, err := scoreDraft(b, notesOf(&scores[0].Score))
	if err == nil {
		_, err = in.Record(ctx, row.Lab, func(kv.Tx) ([]ledger.Draft, error) { return []ledger.Draft{dr}, nil })
	}
	return err
}

// notesOf gives the flags of a score that do not come from the computation, so that
// the next one has them too; but none that gone names, or that says how that
// computation went.
func notesOf(s *lab.Score, gone ...string) (out []note) {
	gone = append(gone, lab.FlagScoringFailed, lab.FlagFlagsCut)
	for _, f := range s.Flags {
		if !slices.Contains(gone, f.Code) && slices.ContainsFunc(lab.FlagTable(), func(m lab.FlagMeaning) bool { return m.Code == f.Code }) {
			out = append(out, note{f.Code, f.Text})
		}
	}
	return out
}

func sameSpeed(a, b *float64) bool { return a == nil && b == nil || a != nil && b != nil && *a == *b }

package scoring

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Stated is a shot whose stated speed is not the one that its results rest on.
type Stated struct {
	Row    view.ShotRow
	Job    Job        // by the speed that is recorded now, and the certificates of the score before
	Before *lab.Score // the score that holds
}

// ByStated gives what is to be computed of a shot for its results to rest on the
// stated speed that is recorded; nil where they do, or where it was never scored.
func ByStated(ctx context.Context, v *view.Reader, sc scope.Scope, shot uuid.UUID) (*Stated, error) {
	row, err := v.Shot(ctx, sc, shot)
	if err != nil {
		return nil, err
	}
	scores, err := v.Scores(ctx, sc, shot)
	if err != nil || len(scores) == 0 || scores[0].Score.RestsOnTyped(row.Shot.SpeedMS) {
		return nil, err
	}
	s := &Stated{Row: row, Job: JobOf(&row), Before: &scores[0].Score}
	s.Job.Calibrations, err = UsedBy(ctx, v, sc, shot)
	return s, err
}

// Follow makes a new score the one that follows the score before: with its reviews,
// since the certificates are as corrected by them, and with the flags of taking in.
func (s *Stated) Follow(b *lab.Score) {
	if len(b.Reviews) == 0 {
		b.Reviews = s.Before.Reviews
	}
	b.Turn = s.Row.ScoreTurn + 1
	Carry(b, Kept(s.Before))
}

// Kept gives the flags of a score that do not come from the computation, for the
// next score of the shot to have them too; but none that gone names, or that says
// how that computation went.
func Kept(s *lab.Score, gone ...string) (out []lab.Flag) {
	gone = append(gone, lab.FlagScoringFailed, lab.FlagFlagsCut)
	for _, f := range s.Flags {
		if !slices.Contains(gone, f.Code) && slices.ContainsFunc(lab.FlagTable(), func(m lab.FlagMeaning) bool { return m.Code == f.Code }) {
			out = append(out, f)
		}
	}
	return out
}

// Carry puts flags before those of a score, as many as it holds.
func Carry(b *lab.Score, flags []lab.Flag) {
	b.Flags = append(slices.Clone(flags), b.Flags...)
	b.Flags = b.Flags[:min(len(b.Flags), lab.MaxFlags)]
	fit(b)
}

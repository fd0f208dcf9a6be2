package review

import (
	"context"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/register"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// For is a review with the strokes that it is about, and who works on it.
type For struct {
	By     account.Principal
	Scope  scope.Scope  // of the lab, with all of its ids
	Lab    record.LabID // whose
	ID     uuid.UUID    // of the review
	Review *lab.Review
	Shots  []view.ShotRow
}

// Outcome counts what became of the strokes that were to be scored again.
type Outcome struct{ Done, Recorded, Left int }

// Apply records the result with a review for every stroke that has none yet. It
// goes on after strokes whose bytes have not arrived; doing it again takes up
// what is left. told hears after each stroke; each is written by itself, so that
// an end in the middle loses nothing.
func (m *Maker) Apply(ctx context.Context, w *register.Register, f For, told func(Outcome)) (Outcome, error) {
	return each(ctx, f.Shots, told, func(shot *view.ShotRow) (bool, error) {
		l, err := m.Stands(ctx, f.Scope, f.ID, f.Review, shot)
		if err != nil || l.After != nil || l.Why != "" {
			return false, err
		}
		if l, err = m.Try(ctx, f.Scope, f.ID, f.Review, shot); err != nil || l.After == nil {
			return false, err
		}
		return true, w.Score(ctx, f.By, f.Lab, shot, l.After)
	})
}

// Undo scores again, by what holds now, every stroke whose last result rests on
// a review that was withdrawn.
func (m *Maker) Undo(ctx context.Context, w *register.Register, f For, told func(Outcome)) (Outcome, error) {
	return each(ctx, f.Shots, told, func(shot *view.ShotRow) (bool, error) {
		l, err := m.Stands(ctx, f.Scope, f.ID, f.Review, shot)
		if err != nil || l.After == nil {
			return false, err
		}
		b, _, err := m.Plain(ctx, f.Scope, shot)
		if err != nil || b == nil {
			return false, err
		}
		return true, w.Score(ctx, f.By, f.Lab, shot, b)
	})
}

// each goes through strokes, each in a step of its own.
func each(ctx context.Context, shots []view.ShotRow, told func(Outcome), do func(*view.ShotRow) (bool, error)) (o Outcome, err error) {
	for i := range shots {
		wrote, err := do(&shots[i])
		if err != nil {
			return o, err
		}
		o.Done++
		if wrote {
			o.Recorded++
		}
		o.Left = len(shots) - o.Done
		told(o)
		if ctx.Err() != nil {
			return o, context.Cause(ctx)
		}
	}
	return o, nil
}

package review

import (
	"context"
	"errors"
	"runtime"
	"slices"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

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
// what is left. told hears after each batch; see Batch.
func (m *Maker) Apply(ctx context.Context, w *register.Register, f For, told func(Outcome)) (Outcome, error) {
	return Batch(ctx, w, f, told, func(ctx context.Context, shot *view.ShotRow) (*lab.Score, error) {
		l, err := one(ctx, m.Stands, &f, shot)
		if err != nil || l.After != nil || l.Why != "" {
			return nil, err
		}
		l, err = one(ctx, m.Try, &f, shot)
		return l.After, err
	})
}

// Undo scores again, by what holds now, every stroke whose last result rests on
// a review that was withdrawn.
func (m *Maker) Undo(ctx context.Context, w *register.Register, f For, told func(Outcome)) (Outcome, error) {
	return Batch(ctx, w, f, told, func(ctx context.Context, shot *view.ShotRow) (*lab.Score, error) {
		l, err := one(ctx, m.Stands, &f, shot)
		if err != nil || l.After == nil {
			return nil, err
		}
		b, _, err := m.Plain(ctx, f.Scope, shot)
		return b, err
	})
}

// batch is how many strokes are computed before what came out is written: few
// enough that a stop or an end costs little, and many to a sync of the store.
const batch = 64

// Batch gives each stroke of f to do, on all cores, and records what it gives;
// nil is no result. No transaction is open while it computes. Each batch of
// strokes is written at once and by itself, and told hears then, so that an end in
// the middle costs no more than the batch that was under way.
func Batch(ctx context.Context, w *register.Register, f For, told func(Outcome), do func(context.Context, *view.ShotRow) (*lab.Score, error)) (o Outcome, err error) {
	o.Left = len(f.Shots)
	for shots := range slices.Chunk(f.Shots, batch) {
		scores := make([]*lab.Score, len(shots))
		g, gctx := errgroup.WithContext(ctx)
		g.SetLimit(runtime.GOMAXPROCS(0))
		for i := range shots {
			g.Go(func() (err error) {
				scores[i], err = do(gctx, &shots[i])
				return err
			})
		}
		failed := g.Wait()
		var results []register.Result
		for i, b := range scores {
			if b != nil {
				results = append(results, register.Result{Shot: &shots[i], Score: b})
			}
		}
		if len(results) > 0 { // what came out is kept, also where another stroke failed
			if err := w.Scores(context.WithoutCancel(ctx), f.By, f.Lab, results); err != nil {
				return o, errors.Join(failed, err)
			}
			o.Recorded += len(results)
		}
		if failed != nil {
			return o, failed
		}
		o.Done += len(shots)
		o.Left -= len(shots)
		told(o)
		if ctx.Err() != nil {
			return o, context.Cause(ctx)
		}
	}
	return o, nil
}

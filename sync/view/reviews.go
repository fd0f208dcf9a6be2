package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// ReviewRow is one review of a sensitivity that had left its limits.
type ReviewRow struct {
	Head
	Review lab.Review
}

func reviewTable() *index.Table[doc[lab.Review]] {
	return dated("view.review", func(r *lab.Review) (uuid.UUID, lab.Time) { return r.Item, r.From },
		inTime(func(r *lab.Review) lab.Time { return r.Until }))
}

func reviewRow(d *doc[lab.Review]) ReviewRow { return ReviewRow{Head: d.head(), Review: *d.body()} }

// Review gives one review.
func (v *Reader) Review(ctx context.Context, sc scope.Scope, id uuid.UUID) (ReviewRow, error) {
	d, err := get(ctx, v, v.set.reviews, sc, lab.KindReview, id)
	if err != nil {
		return ReviewRow{}, err
	}
	return reviewRow(d), nil
}

// Reviews lists the reviews of an item, newest span first, without withdrawn ones.
func (v *Reader) Reviews(ctx context.Context, sc scope.Scope, item uuid.UUID) ([]ReviewRow, error) {
	return facts(ctx, v, v.set.reviews, sc, item, reviewRow)
}

// reviewAt gives the review that holds for an item and a certificate at a time:
// of several the one stated last.
func (s *Set) reviewAt(r kv.Reader, sc scope.Scope, item, good uuid.UUID, t lab.Time) (*ReviewRow, error) {
	var last *doc[lab.Review]
	for d, err := range s.reviews.ScanIndex(r, byItem, item[:], kv.Join(item[:], when(t+1)), false) {
		if err != nil {
			return nil, err
		}
		if b := d.body(); !sc.Allows(d.Lab) || b.Good != good || !b.Covers(t) {
			continue
		}
		if last == nil || d.Made.Stamp.Compare(last.Made.Stamp) > 0 {
			last = d
		}
	}
	if last == nil {
		return nil, nil
	}
	return new(reviewRow(last)), nil
}

// Found is a calibration held against the one before it.
type Found struct {
	Found, Good CalibrationRow
	State       lab.FoundState
	Review      *ReviewRow // nil: nobody has said yet what is made of it
}

// FoundOut lists the calibrations of an item that found its sensitivity outside
// the limits, the newest first.
func (v *Reader) FoundOut(ctx context.Context, sc scope.Scope, item uuid.UUID) (out []Found, err error) {
	all, err := v.Calibrations(ctx, sc, item)
	if err != nil || len(all) < 2 {
		return nil, err
	}
	reviews, err := v.Reviews(ctx, sc, item)
	if err != nil {
		return nil, err
	}
	for i := range all[:len(all)-1] {
		state, ok := all[i].Calibration.AsFound(&all[i+1].Calibration)
		if !ok || !state.Out() {
			continue
		}
		f := Found{Found: all[i], Good: all[i+1], State: state}
		for j := range reviews {
			if b := &reviews[j].Review; b.Found == all[i].ID && b.Good == all[i+1].ID && (f.Review == nil || reviews[j].RecordedAt.After(f.Review.RecordedAt)) {
				f.Review = &reviews[j]
			}
		}
		out = append(out, f)
	}
	return out, nil
}

// FiredWith lists the shots that were fired while an item was mounted, in
// from <= t < to, oldest first, void ones and dry strokes too.
func (v *Reader) FiredWith(ctx context.Context, sc scope.Scope, item uuid.UUID, from, to lab.Time) (out []ShotRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		spans, err := v.set.spans(r, sc, item, to)
		if err != nil {
			return err
		}
		labs, err := v.set.labsOf(r, sc)
		if err != nil {
			return err
		}
		for _, p := range spans {
			for _, of := range labs {
				key := kv.Join(of[:], p.rig[:])
				for d, err := range v.set.shots.ScanIndex(r, byRig, kv.Join(key, when(max(p.from, from))), kv.Join(key, when(min(p.to, to))), false) {
					if err != nil {
						return err
					}
					out = append(out, shotRow(d))
				}
			}
		}
		return nil
	})
	return out, err
}

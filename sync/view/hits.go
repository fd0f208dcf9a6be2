package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// Hit is when a specimen was hit.
type Hit struct {
	At   lab.Time
	Shot uuid.UUID // zero: no file came of it
}

// LastHit gives the latest hit on a specimen before a time, void ones and those
// of which no file came too: they hit it as well. nil when there is none.
func (v *Reader) LastHit(ctx context.Context, sc scope.Scope, specimen string, before lab.Time) (*Hit, error) {
	h, err := v.lastShot(ctx, sc, specimen, before)
	if err != nil {
		return nil, err
	}
	q := v.set.unfiledHits(specimen)
	q.back, q.to = true, when(before)
	bare, err := list(ctx, v, sc, q, Page{Limit: 1}, strokesRow)
	if err != nil {
		return nil, err
	}
	if len(bare.Rows) > 0 {
		if at := bare.Rows[0].Strokes.EffectiveAt; h == nil || at > h.At {
			h = &Hit{At: at}
		}
	}
	return h, nil
}

// lastShot is LastHit of the hits that have a file.
func (v *Reader) lastShot(ctx context.Context, sc scope.Scope, specimen string, before lab.Time) (*Hit, error) {
	for p := (Page{Limit: 20}); ; {
		l, err := v.Shots(ctx, sc, ShotFilter{Specimen: specimen, To: before}, p)
		if err != nil {
			return nil, err
		}
		for i := range l.Rows {
			if r := &l.Rows[i]; r.Shot.Kind == lab.ShotHit {
				return &Hit{At: r.Shot.EffectiveAt, Shot: r.ID}, nil
			}
		}
		if p.After = l.Next; l.Next == "" {
			return nil, nil
		}
	}
}

// UnfiledHits lists the hits on a specimen of which no file came, oldest first.
// Withdrawn entries are left out.
func (v *Reader) UnfiledHits(ctx context.Context, sc scope.Scope, specimen string, page Page) (List[StrokesRow], error) {
	return list(ctx, v, sc, v.set.unfiledHits(specimen), page, strokesRow)
}

func (s *Set) unfiledHits(specimen string) query[doc[lab.Strokes]] {
	name := kv.Str(lab.Fold(specimen))
	return query[doc[lab.Strokes]]{table: s.unfiled, index: bySpecimen, key: strokesTime, prefix: func(id record.LabID) []byte { return kv.Join(id[:], name) }}
}

func strokesTime(d *doc[lab.Strokes]) []byte { return when(d.body().EffectiveAt) }

package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

func unfiledTable() *index.Table[doc[lab.Strokes]] {
	type row = doc[lab.Strokes]
	return &index.Table[row]{
		Name: "view.unfiled",
		Key:  keyOf[lab.Strokes],
		Indexes: []index.Index[row]{{Name: byRig, Keys: func(d *row) [][]byte {
			if !d.stands() {
				return nil
			}
			return one(d.Lab[:], d.body().Rig[:], when(d.body().EffectiveAt))
		}}, {Name: bySpecimen, Keys: func(d *row) [][]byte {
			if !d.stands() || !d.body().HitSpecimen() {
				return nil
			}
			return one(d.Lab[:], kv.Str(lab.Fold(d.body().Specimen)), when(d.body().EffectiveAt))
		}}},
		Tallies: []index.Tally[row]{{Name: perDay, Of: func(d *row) []index.Count {
			if !d.stands() {
				return nil
			}
			b := d.body()
			return []index.Count{{Key: kv.Join(b.Rig[:], d.Lab[:], day(b.EffectiveAt)), N: b.Number}}
		}}},
	}
}

// summed counts the strokes of entries between two keys of byRig.
func summed(r kv.Reader, t *index.Table[doc[lab.Strokes]], from, to []byte) (n int64, err error) {
	for d, err := range t.ScanIndex(r, byRig, from, to, false) {
		if err != nil {
			return 0, err
		}
		n += d.body().Number
	}
	return n, nil
}

func readingTable() *index.Table[doc[lab.CounterRead]] {
	type row = doc[lab.CounterRead]
	return &index.Table[row]{
		Name: "view.reading",
		Key:  keyOf[lab.CounterRead],
		Indexes: []index.Index[row]{{Name: byRig, Keys: func(d *row) [][]byte {
			if !d.stands() {
				return nil
			}
			return one(d.body().Rig[:], when(d.body().EffectiveAt), d.Made.Stamp.key())
		}}},
	}
}

// StrokesRow is an entry of strokes without a file.
type StrokesRow struct {
	Head
	Strokes lab.Strokes
}

// Unfiled lists the entries of strokes without a file on a rig, newest first.
// Withdrawn ones are left out.
func (v *Reader) Unfiled(ctx context.Context, sc scope.Scope, rig uuid.UUID, page Page) (List[StrokesRow], error) {
	q := query[doc[lab.Strokes]]{
		table: v.set.unfiled, index: byRig, back: true,
		prefix: func(id record.LabID) []byte { return kv.Join(id[:], rig[:]) },
		key:    strokesTime,
	}
	return list(ctx, v, sc, q, page, strokesRow)
}

func strokesRow(d *doc[lab.Strokes]) StrokesRow { return StrokesRow{d.head(), *d.body()} }

// ReadingRow is one reading of the controller's counter against what is recorded.
type ReadingRow struct {
	Head
	Reading lab.CounterRead
	// Of the time since the reading before; zero at the first.
	Since    lab.Time
	Counted  int64 // by the controller; negative: its counter went back
	Recorded int64 // strokes that are recorded here
}

// Unaccounted is how many strokes the controller counted beyond those that are
// recorded; none where the counter went back, since nobody can say.
func (r *ReadingRow) Unaccounted() int64 {
	if r.Since == 0 || r.Counted < 0 {
		return 0
	}
	return max(0, r.Counted-r.Recorded)
}

// Readings lists the readings of a rig's counter, oldest first; those before
// from serve only as the start of the first interval.
func (v *Reader) Readings(ctx context.Context, sc scope.Scope, rig uuid.UUID, from, to lab.Time) (out []ReadingRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		return v.set.eachReading(r, sc, rig, from, to, func(row *ReadingRow) { out = append(out, *row) })
	})
	return out, err
}

// eachReading goes through the readings with from <= t < to, each against the
// one before. It is computed when it is asked: a file that is taken in late
// takes its stroke off those that were unaccounted.
func (s *Set) eachReading(r kv.Reader, sc scope.Scope, rig uuid.UUID, from, to lab.Time, do func(*ReadingRow)) error {
	if to <= from {
		return nil
	}
	before, err := first(sc, s.readings.ScanIndex(r, byRig, rig[:], kv.Join(rig[:], when(from)), true))
	if err != nil {
		return err
	}
	for d, err := range s.readings.ScanIndex(r, byRig, kv.Join(rig[:], when(from)), kv.Join(rig[:], when(to)), false) {
		if err != nil {
			return err
		}
		if !sc.Allows(d.Lab) {
			continue
		}
		row := ReadingRow{Head: d.head(), Reading: *d.body()}
		if before != nil {
			b := before.body()
			row.Since, row.Counted = b.EffectiveAt, row.Reading.Counter-b.Counter
			if row.Recorded, err = s.recorded(r, sc, rig, b.EffectiveAt, row.Reading.EffectiveAt); err != nil {
				return err
			}
		}
		do(&row)
		before = d
	}
	return nil
}

// unaccounted adds up what the counter of a rig counted beyond what is recorded.
// The strokes count at the reading that found them: nobody knows when they were.
func (s *Set) unaccounted(r kv.Reader, sc scope.Scope, rig uuid.UUID, from, to lab.Time) (n int64, err error) {
	if x, ok := r.(recalling); ok && to > from && x.counters.sc.Equal(sc) {
		return x.counters.between(s, x.Reader, rig, from, to)
	}
	err = s.eachReading(r, sc, rig, from, to, func(row *ReadingRow) { n += row.Unaccounted() })
	return n, err
}

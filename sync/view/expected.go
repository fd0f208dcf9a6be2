package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

func expectedTable() *index.Table[doc[lab.Expected]] {
	type row = doc[lab.Expected]
	return &index.Table[row]{
		Name: "view.expected",
		Key:  keyOf[lab.Expected],
		Indexes: []index.Index[row]{{Name: byRig, Keys: func(d *row) [][]byte {
			if !d.shown() {
				return nil
			}
			return one(d.body().Rig[:], d.Made.Stamp.key())
		}}},
	}
}

// ExpectedRow is a shot that a person is, or was, about to have fired.
type ExpectedRow struct {
	Head
	Expected lab.Expected
	Settled  *Mark // nil: its file is still to come
}

// Open says that its file is still to come.
func (e *ExpectedRow) Open() bool { return e.Settled == nil }

// Shot is the shot that its file became; zero while there is none.
func (e *ExpectedRow) Shot() uuid.UUID {
	if e.Settled == nil {
		return uuid.Nil
	}
	return e.Settled.Shot
}

// LastExpected gives the shot that was last expected at a rig, nil when none
// ever was. Only the last one waits for a file: confirming the next ends the
// one before.
func (v *Reader) LastExpected(ctx context.Context, sc scope.Scope, rig uuid.UUID) (e *ExpectedRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		e, err = v.set.LastExpected(r, sc, rig)
		return err
	})
	return e, err
}

// LastExpected works within a transaction of the caller, so that looking for
// the expected shot and binding a file to it are one.
func (s *Set) LastExpected(r kv.Reader, sc scope.Scope, rig uuid.UUID) (*ExpectedRow, error) {
	d, err := first(sc, s.expected.ScanIndex(r, byRig, rig[:], kv.PrefixEnd(rig[:]), true))
	if err != nil || d == nil {
		return nil, err
	}
	return expectedRow(d), nil
}

// Expected gives one expected shot.
func (v *Reader) Expected(ctx context.Context, sc scope.Scope, id uuid.UUID) (*ExpectedRow, error) {
	d, err := get(ctx, v, v.set.expected, sc, lab.KindExpected, id)
	if err != nil {
		return nil, err
	}
	return expectedRow(d), nil
}

func expectedRow(d *doc[lab.Expected]) *ExpectedRow {
	h := d.head()
	e := &ExpectedRow{Head: h, Expected: *d.body(), Settled: h.Withdrawn}
	e.Withdrawn = nil // the mark settles it
	return e
}

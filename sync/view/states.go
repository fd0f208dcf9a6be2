package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// StateRow is one statement of an item's state.
type StateRow struct {
	Head
	ItemState lab.ItemState
}

// CorrectionRow is one correction of an item's counter.
type CorrectionRow struct {
	Head
	Correction lab.Correction
}

func stateOf(s *lab.ItemState) (uuid.UUID, lab.Time)       { return s.Item, s.EffectiveAt }
func correctionOf(c *lab.Correction) (uuid.UUID, lab.Time) { return c.Item, c.EffectiveAt }

func stateRow(d *doc[lab.ItemState]) StateRow {
	return StateRow{Head: d.head(), ItemState: *d.body()}
}

// States lists what was stated about an item's state and place, newest first,
// at most MaxLimit.
func (v *Reader) States(ctx context.Context, sc scope.Scope, item uuid.UUID) ([]StateRow, error) {
	return facts(ctx, v, v.set.states, sc, item, stateRow)
}

// Corrections lists the corrections of an item's counter, newest first, at most MaxLimit.
func (v *Reader) Corrections(ctx context.Context, sc scope.Scope, item uuid.UUID) ([]CorrectionRow, error) {
	return facts(ctx, v, v.set.corrections, sc, item, correctionRow)
}

func correctionRow(d *doc[lab.Correction]) CorrectionRow {
	return CorrectionRow{Head: d.head(), Correction: *d.body()}
}

// StateAt gives the statement that holds at a time; nil when nothing was
// stated until then, which its methods read as in service.
func (v *Reader) StateAt(ctx context.Context, sc scope.Scope, item uuid.UUID, t lab.Time) (row *StateRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		ok, err := has(r, v.set.items, sc, item)
		if err != nil {
			return err
		}
		if !ok {
			return notFound(lab.KindItem, item)
		}
		row, err = v.set.stateAt(r, sc, item, t)
		return err
	})
	return row, err
}

// State is the state in words; "in service" when nothing was stated.
func (s *StateRow) State() string {
	if s == nil {
		return lab.StateInService
	}
	return s.ItemState.State
}

// Location is where the item is while it is not mounted, "" when nobody said.
func (s *StateRow) Location() string {
	if s == nil {
		return ""
	}
	return s.ItemState.Location
}

func (s *Set) stateAt(r kv.Reader, sc scope.Scope, item uuid.UUID, t lab.Time) (*StateRow, error) {
	d, err := lastBefore(r, s.states, sc, item, t)
	if err != nil || d == nil {
		return nil, err
	}
	return new(stateRow(d)), nil
}

// corrected adds up the corrections of an item's counter in from <= t < to.
func (s *Set) corrected(r kv.Reader, sc scope.Scope, item uuid.UUID, from, to lab.Time) (sum int64, err error) {
	if to <= from {
		return 0, nil
	}
	for d, err := range s.corrections.ScanIndex(r, byItem, kv.Join(item[:], when(from)), kv.Join(item[:], when(to)), false) {
		if err != nil {
			return 0, err
		}
		if sc.Allows(d.Lab) {
			sum += d.body().Strokes
		}
	}
	return sum, nil
}

func stateTable() *index.Table[doc[lab.ItemState]] { return dated("view.state", stateOf) }
func correctionTable() *index.Table[doc[lab.Correction]] {
	return dated("view.correction", correctionOf)
}

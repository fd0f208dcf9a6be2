package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// facts lists the dated facts about an item, newest first.
func facts[B, R any](ctx context.Context, v *Reader, t *index.Table[doc[B]], sc scope.Scope, item uuid.UUID, row func(*doc[B]) R) ([]R, error) {
	return factsBy(ctx, v, t, byItem, sc, item, row)
}

func factsBy[B, R any](ctx context.Context, v *Reader, t *index.Table[doc[B]], by string, sc scope.Scope, item uuid.UUID, row func(*doc[B]) R) (out []R, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		d, err := find(r, v.set.items, sc, item)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindItem, item)
		}
		for f, err := range t.ScanIndex(r, by, item[:], kv.PrefixEnd(item[:]), true) {
			if err != nil || len(out) == MaxLimit {
				return err
			}
			if sc.Allows(f.Lab) {
				out = append(out, row(f))
			}
		}
		return nil
	})
	return out, err
}

// ItemFacts are facts about an item, newest first of each kind, at most MaxLimit.
type ItemFacts struct {
	States       []StateRow
	Corrections  []CorrectionRow
	Services     []ServiceRow
	Calibrations []CalibrationRow
	Mountings    []MountingRow
}

// WithdrawnFacts lists what was recorded about an item and withdrawn since: it
// counts no more, and stays to be seen.
func (v *Reader) WithdrawnFacts(ctx context.Context, sc scope.Scope, item uuid.UUID) (f ItemFacts, err error) {
	if f.States, err = factsBy(ctx, v, v.set.states, byItemOff, sc, item, stateRow); err != nil {
		return f, err
	}
	if f.Corrections, err = factsBy(ctx, v, v.set.corrections, byItemOff, sc, item, correctionRow); err != nil {
		return f, err
	}
	if f.Services, err = factsBy(ctx, v, v.set.services, byItemOff, sc, item, serviceRow); err != nil {
		return f, err
	}
	if f.Calibrations, err = factsBy(ctx, v, v.set.calibrations, byItemOff, sc, item, calibrationRow); err != nil {
		return f, err
	}
	f.Mountings, err = factsBy(ctx, v, v.set.mountings, byItemOff, sc, item, mountingRow)
	return f, err
}

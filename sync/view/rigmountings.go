package view

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// RigMountings lists what was mounted at a rig and taken off it, newest first,
// at most n. Withdrawn entries are left out.
func (v *Reader) RigMountings(ctx context.Context, sc scope.Scope, rig uuid.UUID, n int) (out []MountedRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		for d, err := range v.set.mountings.ScanIndex(r, byPlace, rig[:], kv.PrefixEnd(rig[:]), false) {
			if err != nil {
				return err
			}
			if sc.Allows(d.Lab) {
				out = append(out, MountedRow{Mounting: mountingRow(d)})
			}
		}
		slices.SortStableFunc(out, func(a, b MountedRow) int {
			return cmp.Compare(b.Mounting.Mounting.EffectiveAt, a.Mounting.Mounting.EffectiveAt)
		})
		out = out[:min(n, len(out))]
		for i := range out {
			item := out[i].Mounting.Mounting.Item
			if item == uuid.Nil {
				continue
			}
			d, err := find(r, v.set.items, sc, item)
			if err != nil {
				return err
			}
			if d != nil {
				out[i].Item = new(itemRow(d))
			}
		}
		return nil
	})
	return out, err
}

// Mounting gives one mounting.
func (v *Reader) Mounting(ctx context.Context, sc scope.Scope, id uuid.UUID) (MountingRow, error) {
	d, err := get(ctx, v, v.set.mountings, sc, lab.KindMounting, id)
	if err != nil {
		return MountingRow{}, err
	}
	return mountingRow(d), nil
}

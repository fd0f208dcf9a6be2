package desk

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// rigRows gives the rigs of a scope. A rig that stands under the early id of its
// lab, from before its agent was enrolled, and under the lab's own is one rig.
func (d *Desk) rigRows(ctx context.Context, sc scope.Scope) ([]*view.RigRow, error) {
	var all []*view.RigRow
	err := every(ctx, func(q view.Page) (view.List[view.RigRow], error) { return d.Views.Rigs(ctx, sc, q) }, func(r *view.RigRow) error {
		all = append(all, r)
		return nil
	})
	return oneEach(all), err
}

// oneEach keeps one row of each rig, in the order of the list: the one that was
// stated last, whose name is the newest.
func oneEach(all []*view.RigRow) []*view.RigRow {
	at := map[uuid.UUID]int{}
	var out []*view.RigRow
	for _, r := range all {
		i, twice := at[r.ID]
		switch {
		case !twice:
			at[r.ID] = len(out)
			out = append(out, r)
		case r.RecordedAt.After(out[i].RecordedAt):
			out[i] = r
		}
	}
	return out
}

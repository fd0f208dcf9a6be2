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
func facts[B, R any](ctx context.Context, v *Reader, t *index.Table[doc[B]], sc scope.Scope, item uuid.UUID, row func(*doc[B]) R) (out []R, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		d, err := find(r, v.set.items, sc, item)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindItem, item)
		}
		for f, err := range t.ScanIndex(r, byItem, item[:], kv.PrefixEnd(item[:]), true) {
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

package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// Sat is a time in which an item sat at a rig: From <= t < To.
type Sat struct {
	Rig      uuid.UUID
	Position string // several of one sensor's case as “ax, ay, az”
	From, To lab.Time
}

// Sat lists where an item sat in from <= t < to, in the order of time.
func (v *Reader) Sat(ctx context.Context, sc scope.Scope, item uuid.UUID, from, to lab.Time) (out []Sat, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		spans, err := v.set.spans(r, sc, item, to)
		for _, p := range spans {
			if p.to > from {
				out = append(out, Sat{Rig: p.rig, Position: p.position(), From: max(p.from, from), To: p.to})
			}
		}
		return err
	})
	return out, err
}

package enrol

import (
	"context"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// Adopt takes in an alias that another server told of. One that is known stays
// as it is; the id of a lab among known, or of one that has aliases itself, is
// refused with a line in the log: what was recorded for one lab never moves to
// another.
func (g *Registry) Adopt(ctx context.Context, a Alias, known []record.LabID) error {
	have := false
	err := g.o.Store.View(ctx, func(r kv.Reader) (err error) { // mostly known: no commit
		_, have, err = g.aliases.Get(r, a.Local[:])
		return err
	})
	if err != nil || have {
		return err
	}
	if a.Local == serverWide || a.Local == a.Lab || slices.Contains(known, a.Local) {
		g.o.Log.Warn("another name of a lab was refused: it is a lab of its own here", "name", a.Local.String(), "lab", a.Lab.String())
		return nil
	}
	_, err = g.o.Ledger.AppendWith(ctx, serverWide, func(tx kv.Tx) ([]ledger.Draft, error) {
		if _, ok, err := g.aliases.Get(tx, a.Local[:]); err != nil || ok {
			return nil, err
		}
		for _, err := range g.aliases.ScanIndex(tx, byLab, a.Local[:], kv.PrefixEnd(a.Local[:]), false) {
			return nil, err // no error: others are names of this one
		}
		if err := g.aliases.Put(tx, &a); err != nil {
			return nil, err
		}
		d, err := draft(KindAlias, a.Local, "", a)
		return []ledger.Draft{d}, err
	})
	return err
}

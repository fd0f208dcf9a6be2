package enrol

import (
	"bytes"
	"context"

	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
)

// Rekeyed puts a new key in the place of a node's old one. The signatures are
// checked once more, inside the transaction, against the key that holds there.
func (g *Registry) Rekeyed(ctx context.Context, r exchange.Rekey) error {
	_, err := g.o.Ledger.AppendWith(ctx, serverWide, func(tx kv.Tx) ([]ledger.Draft, error) {
		n, ok, err := g.nodes.Get(tx, r.Node[:])
		switch {
		case err != nil:
			return nil, err
		case !ok:
			return nil, problem.New(problem.Unauthenticated, "The server does not know this agent.", "Enrol it with a one-time code.")
		case n.RevokedMS != 0:
			return nil, withdrawn(n)
		case bytes.Equal(n.PublicKey, r.New):
			return nil, nil
		}
		if err := r.Verify(r.Node, n.PublicKey); err != nil {
			return nil, err
		}
		n.PublicKey = r.New
		if err := g.nodes.Put(tx, n); err != nil {
			return nil, err
		}
		d, err := draft(exchange.KindRekeyed, r.Node, "node", r)
		return []ledger.Draft{d}, err
	})
	return err
}

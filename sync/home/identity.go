package home

import (
	"context"
	"crypto/ed25519"
	"errors"
	"io/fs"
	"os"

	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/node"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// KeyLost is the reason that chains are closed for whose key was lost.
const KeyLost = "the key of this node was lost, and it goes on with a new one"

// identify gives the identity of a folder. lost says that the folder has records
// but no key any more: the identity then has a new one, which is not kept yet.
func (h *Home) identify(ctx context.Context) (lost bool, err error) {
	h.Node, err = node.Load(h.Dir)
	if problem.Of(err) != problem.NotFound {
		return false, err
	}
	owner, ok, err := h.owner(ctx)
	if err != nil {
		return false, err
	}
	if !ok {
		h.Node, err = node.LoadOrCreate(h.Dir)
		return false, err
	}
	first, err := h.firstKey(ctx, owner)
	if err != nil {
		return false, err
	}
	h.Node, err = node.Anew(owner, first)
	return true, err
}

func (h *Home) owner(ctx context.Context) (owner record.NodeID, ok bool, err error) {
	err = h.Store.View(ctx, func(r kv.Reader) error {
		owner, ok, err = ledger.Owner(r)
		return err
	})
	return owner, ok, err
}

// firstKey is the public half of the key that a node began with, from which the
// lab follows that it wrote under before it was enrolled.
func (h *Home) firstKey(ctx context.Context, owner record.NodeID) (first ed25519.PublicKey, err error) {
	err = h.Store.View(ctx, func(r kv.Reader) error {
		keys, err := ledger.GenesisKeys(r, owner)
		for _, k := range keys {
			if exchange.LocalLab(k.Key) == k.Origin.Lab {
				first = k.Key
			}
		}
		return err
	})
	return first, err
}

// replaceKey closes what was written under the lost key, then keeps the new
// one. A stop in between begins it again.
func (h *Home) replaceKey(ctx context.Context) error {
	if err := h.Ledger.CloseEveryOwn(ctx, KeyLost); err != nil {
		return err
	}
	return node.Keep(h.Dir, h.Node)
}

// hasStore tells whether a folder has a store.
func hasStore(dir string) (bool, error) {
	_, err := os.Stat(StorePath(dir))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	return err == nil, err
}

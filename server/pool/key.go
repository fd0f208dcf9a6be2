package pool

import (
	"context"
	"crypto/ed25519"
	"fmt"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
)

// tableKeys keeps the key with which this server proves itself to other servers:
// version, seed. It is not the one that agents know, so that either can be
// changed alone.
const tableKeys kv.Table = "pool.key"

var onlyKey = []byte("key") // never changed

const keyVersion = 1

// key gives the key, made at its first use.
func (p *Pool) key(ctx context.Context) (key ed25519.PrivateKey, err error) {
	_, fresh, err := ed25519.GenerateKey(nil)
	if err != nil {
		return nil, fmt.Errorf("make a key: %w", err)
	}
	err = p.o.Store.Update(ctx, func(tx kv.Tx) error {
		b, err := tx.Get(tableKeys, onlyKey)
		switch {
		case err != nil:
			return err
		case b == nil:
			key = fresh
			return tx.Put(tableKeys, onlyKey, append([]byte{keyVersion}, fresh.Seed()...))
		case len(b) != 1+ed25519.SeedSize || b[0] != keyVersion:
			return problem.New(problem.Damaged, "The key for another server cannot be read.", "Restore the server from a backup.")
		}
		key = ed25519.NewKeyFromSeed(b[1:])
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("keep the key for another server: %w", err)
	}
	return key, nil
}

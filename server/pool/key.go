package pool

import (
	"context"
	"crypto/ed25519"
	"fmt"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// tableKeys keeps the keys with which this server proves itself to other servers:
// version, seed, and the seed of the key to go on with where one is prepared. It
// is not the one that agents know, so that either can be changed alone. Under
// firstKey stands the one for servers that have none of their own: a server gets
// its own when the key is changed, since each takes the new one at its own time.
const tableKeys kv.Table = "pool.key"

var firstKey = []byte("key") // never changed

const keyVersion = 1

// pair is a key in use, and the one to go on with; nil: none.
type pair struct{ present, next ed25519.PrivateKey }

func (k pair) encode() []byte {
	b := append([]byte{keyVersion}, k.present.Seed()...)
	if k.next != nil {
		b = append(b, k.next.Seed()...)
	}
	return b
}

func decodePair(b []byte) (k pair, err error) {
	if len(b) != 1+ed25519.SeedSize && len(b) != 1+2*ed25519.SeedSize || b[0] != keyVersion {
		return k, problem.New(problem.Damaged, "The key for another server cannot be read.", "Restore the server from a backup.")
	}
	k.present = ed25519.NewKeyFromSeed(b[1 : 1+ed25519.SeedSize])
	if b = b[1+ed25519.SeedSize:]; len(b) > 0 {
		k.next = ed25519.NewKeyFromSeed(b)
	}
	return k, nil
}

// keys is the pair for one server, as an uplink uses it. of gives that server; the
// zero one as long as it is not known.
type keys struct {
	p  *Pool
	of func() record.NodeID
}

// change reads the pair, lets fn change it, and keeps it where fn says so.
func (k keys) change(ctx context.Context, fn func(*pair) (keep bool, err error)) (out pair, err error) {
	_, fresh, err := ed25519.GenerateKey(nil)
	if err != nil {
		return out, fmt.Errorf("make a key: %w", err)
	}
	server := k.of()
	err = k.p.o.Store.Update(ctx, func(tx kv.Tx) error {
		b, err := tx.Get(tableKeys, server[:])
		if err == nil && b == nil {
			b, err = tx.Get(tableKeys, firstKey)
		}
		if err != nil {
			return err
		}
		if b == nil {
			b = pair{present: fresh}.encode()
			if err := tx.Put(tableKeys, firstKey, b); err != nil {
				return err
			}
		}
		if out, err = decodePair(b); err != nil {
			return err
		}
		keep, err := fn(&out)
		if err != nil || !keep {
			return err
		}
		return tx.Put(tableKeys, server[:], out.encode())
	})
	if err != nil {
		return out, fmt.Errorf("keep the key for another server: %w", err)
	}
	return out, nil
}

func (k keys) pair(ctx context.Context) (pair, error) {
	return k.change(ctx, func(*pair) (bool, error) { return false, nil })
}

// Prepare makes the key to go on with, or gives the one made before.
func (k keys) Prepare() (ed25519.PrivateKey, error) {
	out, err := k.change(context.Background(), func(p *pair) (bool, error) {
		if p.next != nil {
			return false, nil
		}
		_, next, err := ed25519.GenerateKey(nil)
		p.next = next
		return true, err
	})
	return out.next, err
}

// Promote goes on with the prepared key. Of several labs of one server the first
// one does it.
func (k keys) Promote() error {
	_, err := k.change(context.Background(), func(p *pair) (bool, error) {
		if p.next == nil {
			return false, nil
		}
		p.present, p.next = p.next, nil
		return true, nil
	})
	return err
}

// ChangeKeys makes a new key for each server that labs are fetched from. Each
// takes it with the next exchange, by a statement that both keys sign; until then
// the old one stays in use with it.
func (p *Pool) ChangeKeys() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.links) == 0 {
		return problem.New(problem.Conflict, "No lab is fetched from another server, so there is no key to change.", "Fetch a lab first.")
	}
	for _, l := range p.links {
		if err := l.uplink.RotateKey(); err != nil {
			return err
		}
	}
	return nil
}

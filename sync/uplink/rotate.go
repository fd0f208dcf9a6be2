package uplink

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"fmt"

	"thudbook/sync/exchange"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

func (u *Uplink) present() ed25519.PrivateKey {
	u.mu.Lock()
	defer u.mu.Unlock()
	return u.key
}

// RotateKey makes a new key for this node. The next session tells the server,
// with a statement that both keys sign; until the server has taken it, the old
// one stays in use. An answer that is lost costs nothing: the agent then finds
// out which of the two the server knows.
func (u *Uplink) RotateKey() error {
	if u.o.Keys == nil {
		return problem.New(problem.Unavailable, "This node cannot change its key.", "Start it on its data folder.")
	}
	next, err := u.o.Keys.Prepare()
	if err != nil {
		return fmt.Errorf("make a new key: %w", err)
	}
	u.mu.Lock()
	u.next = next
	u.mu.Unlock()
	u.Wake()
	return nil
}

// KeyChanging tells whether a new key waits for the server to take it.
func (u *Uplink) KeyChanging() bool {
	u.mu.Lock()
	defer u.mu.Unlock()
	return u.next != nil
}

// PublicKey is the public half of the key that is in use.
func (u *Uplink) PublicKey() ed25519.PublicKey { return u.present().Public().(ed25519.PublicKey) }

// withKeys holds a session under the present key and, where the server does not
// know that one any more, under the next.
func (u *Uplink) withKeys(ctx context.Context, s Settings, hold func(exchange.Peer, ed25519.PrivateKey, ed25519.PrivateKey) (exchange.Result, error)) (exchange.Result, error) {
	u.mu.Lock()
	key, next := u.key, u.next
	peer, err := u.peerLocked(s, key)
	u.mu.Unlock()
	if err != nil {
		return exchange.Result{}, err
	}
	res, err := hold(peer, key, next)
	if next == nil {
		return res, err
	}
	if !res.Welcomed && problem.Of(err) == problem.Unauthenticated {
		u.mu.Lock()
		u.peer = nil
		peer, dialErr := u.peerLocked(s, next)
		u.peer = nil // it is kept once the key is
		u.mu.Unlock()
		if dialErr != nil {
			return res, err
		}
		again, againErr := hold(peer, next, nil)
		if !again.Welcomed {
			return res, err
		}
		res, err = again, againErr
		res.Rekeyed = true
	}
	if res.Rekeyed {
		u.promote(ctx, s, key, next)
	}
	return res, err
}

// promote keeps the key that the server has taken. Where that fails, the next
// session comes here again.
func (u *Uplink) promote(ctx context.Context, s Settings, old, next ed25519.PrivateKey) {
	// A server that fetches has another key for its own chains, and their readers.
	fetches := u.o.Only != nil
	body, err := record.EncodeBody(exchange.NewRekey(u.o.Ledger.Node(), old, next))
	if err == nil && !fetches {
		_, err = u.o.Ledger.Append(ctx, s.Lab, ledger.Draft{Kind: exchange.KindRekeyed, Schema: 1, UID: u.o.Ledger.Node(), Body: body})
	}
	if err == nil {
		err = u.o.Keys.Promote()
	}
	if err != nil {
		u.o.Log.Error("the server has taken the new key, but it could not be kept here; it is tried again", "error", err)
		return
	}
	if !fetches {
		u.o.Ledger.SetKey(next)
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	u.key, u.next, u.peer = next, nil, nil
	u.o.Log.Info("this node goes on with a new key", "server", s.URL)
}

// takeServerKeys keeps what a session showed of the server's keys; the caller
// holds the lock. It says whether the settings changed.
func (u *Uplink) takeServerKeys(res *exchange.Result) bool {
	s, changed := u.settings, false
	if len(res.ServerKey) > 0 && !bytes.Equal(res.ServerKey, s.ServerKey) {
		u.o.Log.Warn("the server goes on with the key that it had announced")
		s.ServerKey, s.NextServerKey, changed = res.ServerKey, nil, true
	}
	if len(res.ServerNextKey) > 0 && !bytes.Equal(res.ServerNextKey, s.NextServerKey) {
		u.o.Log.Info("the server announced the key that it will go on with")
		s.NextServerKey, changed = res.ServerNextKey, true
	}
	if changed {
		u.peer = nil
	}
	return changed
}

// Package ownkey changes the key that a server proves itself with. Agents pin
// it when they are enrolled, so a new one is announced first, while they
// connect; the server goes on with it when they have heard of it. An agent that
// has not needs a new code afterwards, and loses nothing.
package ownkey

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"strings"
	"sync"

	"thudbook/server/enrol"
	"thudbook/sync/exchange"
	"thudbook/sync/ledger"
	"thudbook/sync/node"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// Keys is safe for concurrent use.
type Keys struct {
	Dir     string // of node.json
	Service *exchange.Service
	Ledger  *ledger.Ledger
	Agents  *enrol.Registry

	mu sync.Mutex // one change at a time
}

// State is how far a change is. Agents that were withdrawn count nowhere.
type State struct {
	Key       ed25519.PublicKey
	Next      ed25519.PublicKey // announced; nil: none
	Heard     []string          // names of the agents that have pinned Next
	NotHeard  []string          // of those that have not
	OpenCodes int               // codes that are good until the change
}

// State reads the identity and the list of agents.
func (k *Keys) State(ctx context.Context) (State, error) {
	id, err := node.Load(k.Dir)
	if err != nil {
		return State{}, err
	}
	s := State{Key: id.PublicKey()}
	if id.Next == nil {
		return s, nil
	}
	s.Next = id.Next.Public().(ed25519.PublicKey)
	list, err := k.Agents.List(ctx, scope.All())
	if err != nil {
		return s, err
	}
	for i := range list {
		switch a := &list[i]; {
		case !a.Revoked.IsZero():
		case s.Next.Equal(a.HeardOf):
			s.Heard = append(s.Heard, a.Name)
		default:
			s.NotHeard = append(s.NotHeard, a.Name)
		}
	}
	codes, err := k.Agents.OpenCodes(ctx, scope.All())
	s.OpenCodes = len(codes)
	return s, err
}

// Announce makes the key to come, durably, and tells agents of it from their
// next greeting on. Announced before, it stays the same.
func (k *Keys) Announce(context.Context) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	id, err := node.Prepare(k.Dir)
	if err != nil {
		return err
	}
	k.Service.SetKeys(id.PrivateKey, id.Next)
	return nil
}

// Use goes on with the announced key at once. It is a conflict as long as an
// agent has not heard of it, unless anyway.
func (k *Keys) Use(ctx context.Context, by string, anyway bool) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	s, err := k.State(ctx)
	switch {
	case err != nil:
		return err
	case s.Next == nil:
		return problem.New(problem.Conflict, "No new key of this server is announced.", "Announce one, and let every agent connect once before it is used.")
	case len(s.NotHeard) > 0 && !anyway:
		return problem.New(problem.Conflict, fmt.Sprintf("These agents have not heard of the new key: %s.", strings.Join(s.NotHeard, ", ")),
			"Wait until each has connected, or go on anyway: each of them then needs a new code. What they record is kept.")
	}
	old, err := node.Load(k.Dir)
	if err != nil {
		return err
	}
	body, err := record.EncodeBody(exchange.NewRekey(old.ID, old.PrivateKey, old.Next))
	if err != nil {
		return err
	}
	now, err := node.Promote(k.Dir)
	if err != nil {
		return err
	}
	k.Service.SetKeys(now.PrivateKey, nil)
	k.Ledger.SetKey(now.PrivateKey)
	_, err = k.Ledger.Append(ctx, record.LabID{}, ledger.Draft{Kind: exchange.KindRekeyed, Schema: 1, Author: by, UID: now.ID, Body: body})
	if err != nil {
		return fmt.Errorf("the new key is in use, but the fact of it was not kept: %w", err)
	}
	return nil
}

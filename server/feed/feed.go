// Package feed lets programs that cannot sign in read what an account may see:
// calendars and monitoring. Each account has at most one secret link. The store
// keeps only a hash of it.
package feed

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
)

// Store keeps the links in the server's key-value store.
type Store struct {
	kv    kv.Store
	now   func() time.Time
	links index.Table[link]
}

type link struct {
	Account   uuid.UUID `json:"account"`
	TokenHash [32]byte  `json:"token_hash"`
	Created   time.Time `json:"created"`
}

// Open makes the store.
func Open(store kv.Store, now func() time.Time) *Store {
	return &Store{kv: store, now: now, links: index.Table[link]{
		Name: "feed",
		Key:  func(l *link) []byte { return l.Account[:] },
		Indexes: []index.Index[link]{{
			Name: "token",
			Keys: func(l *link) [][]byte { return [][]byte{l.TokenHash[:]} },
		}},
	}}
}

// New makes a link for an account and gives its token, which is not kept. The
// link that the account had before no longer opens anything.
func (s *Store) New(ctx context.Context, account uuid.UUID) (token string, err error) {
	raw := make([]byte, 25) // 200 bits, 40 letters
	rand.Read(raw)
	token = base32.StdEncoding.EncodeToString(raw)
	return token, s.kv.Update(ctx, func(tx kv.Tx) error {
		return s.links.Put(tx, &link{Account: account, TokenHash: sha256.Sum256([]byte(token)), Created: s.now().UTC()})
	})
}

// Account gives the account of a token; ok is false when there is none.
func (s *Store) Account(ctx context.Context, token string) (account uuid.UUID, ok bool, err error) {
	hash := sha256.Sum256([]byte(token))
	err = s.kv.View(ctx, func(r kv.Reader) error {
		for l, err := range s.links.ScanIndex(r, "token", hash[:], kv.PrefixEnd(hash[:]), false) {
			if err != nil {
				return err
			}
			account, ok = l.Account, true
			break
		}
		return nil
	})
	return account, ok, err
}

// Since gives when an account's link was made, zero when it has none.
func (s *Store) Since(ctx context.Context, account uuid.UUID) (at time.Time, err error) {
	err = s.kv.View(ctx, func(r kv.Reader) error {
		l, ok, err := s.links.Get(r, account[:])
		if ok {
			at = l.Created
		}
		return err
	})
	return at, err
}

package account

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
)

// How long a session lives without use, and at most.
const (
	IdleLimit     = 12 * time.Hour
	AbsoluteLimit = 7 * 24 * time.Hour
	touchEvery    = 5 * time.Minute // a session's last use is written no oftener
)

// session is one signed-in browser. Only the hash of its token is kept.
type session struct {
	TokenHash [sha256.Size]byte `json:"token_hash"`
	Account   uuid.UUID         `json:"account"`
	Created   time.Time         `json:"created"`
	LastUse   time.Time         `json:"last_use"`
}

func (s *session) expired(now time.Time) bool {
	return now.Sub(s.LastUse) > IdleLimit || now.Sub(s.Created) > AbsoluteLimit
}

// errSignIn is the answer to every wrong sign-in.
func errSignIn() error {
	return problem.New(problem.Unauthenticated, "The name or the password is wrong.", "Try again; an administrator can set a new password.")
}

// SignIn checks a password and gives a session's token: 32 random bytes as
// text, known to the browser alone. The answer to an unknown name, a wrong
// password and a disabled account is the same, and takes the same time. from
// is the caller's address, "" when it is not known.
func (s *Store) SignIn(ctx context.Context, login, password, from string) (token string, p Principal, err error) {
	login = normalLogin(login)
	if err := cmp.Or(s.names.Allow(login), s.addresses.Allow(from)); err != nil {
		return "", Principal{}, err
	}
	if len(password) > MaxPassword || len(login) > maxLogin {
		return "", Principal{}, errSignIn()
	}
	var a *Account
	err = s.kv.View(ctx, func(r kv.Reader) (err error) {
		a, err = s.byLogin(r, login)
		return err
	})
	if err != nil {
		return "", Principal{}, err
	}
	hash := s.decoy
	if a != nil {
		hash = a.Hash
	}
	ok, err := s.match(ctx, hash, password)
	if err != nil {
		return "", Principal{}, err
	}
	if a == nil || !ok || a.Disabled {
		s.names.Failed(login)
		s.addresses.Failed(from)
		return "", Principal{}, errSignIn()
	}
	s.names.Succeeded(login)
	raw := make([]byte, 32)
	rand.Read(raw)
	token = base64.RawURLEncoding.EncodeToString(raw)
	now := s.now().UTC()
	err = s.kv.Update(ctx, func(tx kv.Tx) error {
		if err := s.sweep(tx, now); err != nil {
			return err
		}
		return s.sessions.Put(tx, &session{TokenHash: sha256.Sum256([]byte(token)), Account: a.ID, Created: now, LastUse: now})
	})
	return token, principal(a), err
}

// Who gives the person behind a session's token; ok is false when the session
// is unknown or over, or the account disabled.
func (s *Store) Who(ctx context.Context, token string) (p Principal, ok bool, err error) {
	if token == "" {
		return Principal{}, false, nil
	}
	hash, now := sha256.Sum256([]byte(token)), s.now().UTC()
	var found *session
	var a *Account
	err = s.kv.View(ctx, func(r kv.Reader) error {
		var err error
		if found, ok, err = s.sessions.Get(r, hash[:]); err != nil || !ok {
			return err
		}
		a, ok, err = s.accounts.Get(r, found.Account[:])
		return err
	})
	if err != nil || !ok || found.expired(now) || a.Disabled {
		return Principal{}, false, err
	}
	if now.Sub(found.LastUse) > touchEvery {
		found.LastUse = now
		err = s.kv.Update(ctx, func(tx kv.Tx) error {
			if _, still, err := s.sessions.Get(tx, hash[:]); err != nil || !still {
				return err
			}
			return s.sessions.Put(tx, found)
		})
	}
	return principal(a), true, err
}

// LastUse gives when each account was last heard of, of those with a session.
func (s *Store) LastUse(ctx context.Context) (map[uuid.UUID]time.Time, error) {
	last := map[uuid.UUID]time.Time{}
	err := s.kv.View(ctx, func(r kv.Reader) error {
		for v, err := range s.sessions.Scan(r, nil, nil, false) {
			if err != nil {
				return err
			}
			if v.LastUse.After(last[v.Account]) {
				last[v.Account] = v.LastUse
			}
		}
		return nil
	})
	return last, err
}

// SignOut ends one session.
func (s *Store) SignOut(ctx context.Context, token string) error {
	hash := sha256.Sum256([]byte(token))
	return s.kv.Update(ctx, func(tx kv.Tx) error { return s.sessions.Delete(tx, hash[:]) })
}

func (s *Store) endSessions(tx kv.Tx, account uuid.UUID) error {
	var keys [][]byte
	for v, err := range s.sessions.ScanIndex(tx, "account", account[:], kv.PrefixEnd(account[:]), false) {
		if err != nil {
			return err
		}
		keys = append(keys, v.TokenHash[:])
	}
	for _, k := range keys {
		if err := s.sessions.Delete(tx, k); err != nil {
			return err
		}
	}
	return nil
}

// sweep removes sessions that are over.
func (s *Store) sweep(tx kv.Tx, now time.Time) error {
	var keys [][]byte
	for v, err := range s.sessions.Scan(tx, nil, nil, false) {
		if err != nil {
			return err
		}
		if v.expired(now) {
			keys = append(keys, v.TokenHash[:])
		}
	}
	for _, k := range keys {
		if err := s.sessions.Delete(tx, k); err != nil {
			return err
		}
	}
	return nil
}

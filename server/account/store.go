package account

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/secret"
)

// KindChanged is the ledger's record of a made or changed account: its id, its
// roles and who did it, no names.
const KindChanged record.Kind = "account.changed"

// Changed is the body of KindChanged, version 1.
type Changed struct {
	Account       uuid.UUID `json:"account"`
	Administrator bool      `json:"administrator"`
	Grants        []Grant   `json:"grants"`
	Disabled      bool      `json:"disabled"`
}

// Options of an account store.
type Options struct {
	KV     kv.Store // the server's store, which the ledger lives in too
	Ledger *ledger.Ledger
	Now    func() time.Time // nil: time.Now
	// FirstFile is where the password of the first administrator is kept until
	// another one is set; "" for nowhere.
	FirstFile string
}

// Store keeps accounts and sessions in the server's key-value store.
type Store struct {
	kv        kv.Store
	ledger    *ledger.Ledger
	now       func() time.Time
	firstFile string
	accounts  index.Table[Account]
	sessions  index.Table[session]
	names     *secret.Throttle // by sign-in name
	addresses *secret.Throttle // by the caller's address
	hashing   chan struct{}    // bounds the memory that password checks take at once
	decoy     string           // hash that unknown names are checked against, so that time tells nothing
}

// Open makes the account store.
func Open(o Options) *Store {
	if o.Now == nil {
		o.Now = time.Now
	}
	return &Store{
		kv: o.KV, ledger: o.Ledger, now: o.Now, firstFile: o.FirstFile,
		names: secret.NewThrottle(o.Now, nameLimits()), addresses: secret.NewThrottle(o.Now, addressLimits()),
		hashing: make(chan struct{}, hashesAtOnce), decoy: secret.Hash("decoy password"),
		accounts: index.Table[Account]{
			Name: "account",
			Key:  func(a *Account) []byte { return a.ID[:] },
			Indexes: []index.Index[Account]{{
				Name: "login",
				Keys: func(a *Account) [][]byte { return [][]byte{[]byte(a.Login)} },
			}},
		},
		sessions: index.Table[session]{
			Name: "session",
			Key:  func(s *session) []byte { return s.TokenHash[:] },
			Indexes: []index.Index[session]{{
				Name: "account",
				Keys: func(s *session) [][]byte { return [][]byte{s.Account[:]} },
			}},
		},
	}
}

// Draft is what a new account needs.
type Draft struct {
	Login         string
	Name          string
	Password      string
	Administrator bool
	Grants        []Grant
}

// Create makes an account; by is the id of who makes it, or "first start".
func (s *Store) Create(ctx context.Context, d Draft, by string) (Account, error) {
	login := normalLogin(d.Login)
	if err := errors.Join(checkLogin(login), checkLength(d.Password), checkGrants(d.Grants)); err != nil {
		return Account{}, err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return Account{}, err
	}
	hash, err := s.hash(ctx, d.Password)
	if err != nil {
		return Account{}, err
	}
	a := Account{ID: id, Login: login, Name: strings.TrimSpace(d.Name), Hash: hash,
		Administrator: d.Administrator, Grants: d.Grants, Created: s.now().UTC()}
	if a.Name == "" {
		a.Name = login
	}
	err = s.change(ctx, by, func(tx kv.Tx) (*Account, error) {
		if other, err := s.byLogin(tx, a.Login); err != nil {
			return nil, err
		} else if other != nil {
			return nil, at("sign-in name", problem.New(problem.Conflict, "this sign-in name is taken", "choose another one"))
		}
		return &a, nil
	})
	return a, err
}

// SetPassword replaces a password and ends every session of the account.
func (s *Store) SetPassword(ctx context.Context, id uuid.UUID, password string) error {
	if err := checkLength(password); err != nil {
		return err
	}
	hash, err := s.hash(ctx, password)
	if err != nil {
		return err
	}
	var login string
	err = s.kv.Update(ctx, func(tx kv.Tx) error {
		a, err := s.byID(tx, id)
		if err != nil {
			return err
		}
		a.Hash, login = hash, a.Login
		return errors.Join(s.accounts.Put(tx, a), s.endSessions(tx, id))
	})
	if err != nil {
		return err
	}
	return s.forgetFirst(login)
}

// ChangePassword replaces the password of someone who knows the present one.
func (s *Store) ChangePassword(ctx context.Context, id uuid.UUID, present, next string) error {
	var a *Account
	err := s.kv.View(ctx, func(r kv.Reader) (err error) {
		a, err = s.byID(r, id)
		return err
	})
	if err != nil {
		return err
	}
	if err := s.names.Allow(a.Login); err != nil {
		return err
	}
	ok, err := s.match(ctx, a.Hash, present)
	if err != nil {
		return err
	}
	if !ok {
		s.names.Failed(a.Login)
		return at("present password", problem.New(problem.Invalid, "this is not your present password", "try again; an administrator can set a new one"))
	}
	return s.SetPassword(ctx, id, next)
}

// Rights is what an account may do.
type Rights struct {
	Administrator bool
	Disabled      bool
	Grants        []Grant
}

// Change changes an account's rights within one transaction and ends its
// sessions. The last administrator that can sign in cannot be taken away.
func (s *Store) Change(ctx context.Context, id uuid.UUID, by string, edit func(*Rights)) error {
	return s.change(ctx, by, func(tx kv.Tx) (*Account, error) {
		a, err := s.byID(tx, id)
		if err != nil {
			return nil, err
		}
		r := Rights{Administrator: a.Administrator, Disabled: a.Disabled, Grants: slices.Clone(a.Grants)}
		edit(&r)
		if err := checkGrants(r.Grants); err != nil {
			return nil, err
		}
		a.Administrator, a.Disabled, a.Grants = r.Administrator, r.Disabled, r.Grants
		return a, s.endSessions(tx, a.ID)
	})
}

// change writes an account and the ledger's record of it in one transaction.
func (s *Store) change(ctx context.Context, by string, edit func(kv.Tx) (*Account, error)) error {
	_, err := s.ledger.AppendWith(ctx, record.LabID{}, func(tx kv.Tx) ([]ledger.Draft, error) {
		a, err := edit(tx)
		if err != nil {
			return nil, err
		}
		if err := s.accounts.Put(tx, a); err != nil {
			return nil, err
		}
		if err := s.keepsAdministrator(tx); err != nil {
			return nil, err
		}
		body, err := record.EncodeBody(Changed{Account: a.ID, Administrator: a.Administrator, Grants: a.Grants, Disabled: a.Disabled})
		return []ledger.Draft{{Kind: KindChanged, Schema: 1, Author: by, UID: a.ID, Body: body}}, err
	})
	return err
}

func (s *Store) keepsAdministrator(r kv.Reader) error {
	for a, err := range s.accounts.Scan(r, nil, nil, false) {
		if err != nil {
			return err
		}
		if a.Administrator && !a.Disabled {
			return nil
		}
	}
	return problem.New(problem.Conflict, "no administrator would be left", "make another account an administrator first")
}

// List gives all accounts by sign-in name.
func (s *Store) List(ctx context.Context) ([]Account, error) {
	var all []Account
	err := s.kv.View(ctx, func(r kv.Reader) error {
		all = nil
		for a, err := range s.accounts.Scan(r, nil, nil, false) {
			if err != nil {
				return err
			}
			all = append(all, *a)
		}
		return nil
	})
	slices.SortFunc(all, func(a, b Account) int { return strings.Compare(a.Login, b.Login) })
	return all, err
}

// Any reports whether there is an account at all.
func (s *Store) Any(ctx context.Context) (bool, error) {
	all, err := s.List(ctx)
	return len(all) > 0, err
}

func (s *Store) byID(r kv.Reader, id uuid.UUID) (*Account, error) {
	a, ok, err := s.accounts.Get(r, id[:])
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, problem.New(problem.NotFound, "there is no such account", "go back to the list of accounts")
	}
	return a, nil
}

// byLogin gives nil when no account has the name.
func (s *Store) byLogin(r kv.Reader, login string) (*Account, error) {
	for a, err := range s.accounts.ScanIndex(r, "login", []byte(login), kv.PrefixEnd([]byte(login)), false) {
		if err != nil {
			return nil, err
		}
		if a.Login == login {
			return a, nil
		}
	}
	return nil, nil
}

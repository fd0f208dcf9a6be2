package tell

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/mail"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Subscriber is an address that wants to hear of a lab. It stays on this server:
// it is no record, so that it can be taken away without a trace.
type Subscriber struct {
	ID      uuid.UUID    `json:"id"`
	Lab     record.LabID `json:"lab"`
	To      string       `json:"to"` // mail address, or URL of a webhook
	Secret  string       `json:"secret,omitempty"`
	Due     bool         `json:"due"`
	Alarms  bool         `json:"alarms"`
	Digest  bool         `json:"digest"`
	Always  bool         `json:"always,omitempty"` // the digest also when there is nothing to say
	Hour    int          `json:"hour"`             // of the digest, in Zone
	Zone    string       `json:"zone,omitempty"`   // IANA name; empty: that of the server
	By      string       `json:"by"`
	Since   time.Time    `json:"since"`
	LastDay string       `json:"last_day,omitempty"` // of the last digest
}

// Hook says that it is a program.
func (s *Subscriber) Hook() bool { return strings.Contains(s.To, "://") }

// mostSubscribers bounds one lab.
const mostSubscribers = 100

func subscribers() *index.Table[Subscriber] {
	return &index.Table[Subscriber]{Name: "tell.subscriber", Key: func(s *Subscriber) []byte { return s.ID[:] }}
}

// Validate checks an address.
func (t *Teller) validate(s *Subscriber) error {
	fault := func(where, what, fix string) error {
		return &problem.Error{Code: problem.Invalid, Where: where, What: what, Fix: fix}
	}
	if !s.Due && !s.Alarms && !s.Digest {
		return fault("due", "Nothing is chosen to be told of.", "Tick at least one.")
	}
	if s.Hour < 0 || s.Hour > 23 {
		return fault("hour", "There is no such hour.", "Give one from 0 to 23.")
	}
	if _, err := time.LoadLocation(s.Zone); err != nil {
		return fault("zone", fmt.Sprintf("There is no time zone %q.", s.Zone), "Give its name, as Europe/Berlin, or leave it empty for the server's.")
	}
	if s.Hook() {
		return t.checkHook(s.To)
	}
	a, err := mail.ParseAddress(s.To)
	if err != nil || a.Address != s.To || len(s.To) > 254 || !strings.Contains(s.To, "@") {
		return fault("to", "This is no mail address.", "Give the address alone, as lab@example.org.")
	}
	return nil
}

func (t *Teller) checkHook(to string) error {
	fault := func(what, fix string) error {
		return &problem.Error{Code: problem.Invalid, Where: "to", What: what, Fix: fix}
	}
	u, err := url.Parse(to)
	switch {
	case err != nil || u.Host == "" || u.User != nil || u.Fragment != "":
		return fault("This is no address of a webhook.", "Give one as https://example.org/hooks/thudbook")
	case u.Scheme == "https" || u.Scheme == "http" && t.HookPrivate && loopback(u.Hostname()):
		return nil
	}
	return fault("A webhook needs https.", "Give an address that begins with https://")
}

// Add keeps a subscriber. For a webhook it gives the secret, which is shown once.
func (t *Teller) Add(ctx context.Context, s Subscriber) (secret string, err error) {
	if err := t.validate(&s); err != nil {
		return "", err
	}
	if s.ID, err = uuid.NewV7(); err != nil {
		return "", err
	}
	s.Since = t.Now().UTC()
	if s.Hook() {
		s.Secret = rand.Text() + rand.Text()
	}
	table := subscribers()
	err = t.Store.Update(ctx, func(tx kv.Tx) error {
		n := 0
		for o, err := range table.Scan(tx, nil, nil, false) {
			if err != nil {
				return err
			}
			if o.Lab != s.Lab {
				continue
			}
			if n++; strings.EqualFold(o.To, s.To) {
				return &problem.Error{Code: problem.Conflict, Where: "to", What: "This address is on the list already.", Fix: "Take it off first to change what it is told."}
			}
		}
		if n >= mostSubscribers {
			return problem.New(problem.TooLarge, fmt.Sprintf("A lab has at most %d addresses.", mostSubscribers), "Take one off, or use a list of your mail system.")
		}
		return table.Put(tx, &s)
	})
	return s.Secret, err
}

// Renew gives a webhook another secret; the one before ends at once.
func (t *Teller) Renew(ctx context.Context, id uuid.UUID) (secret string, err error) {
	secret = rand.Text() + rand.Text()
	return secret, t.change(ctx, id, func(s *Subscriber) { s.Secret = secret })
}

func (t *Teller) change(ctx context.Context, id uuid.UUID, f func(*Subscriber)) error {
	table := subscribers()
	return t.Store.Update(ctx, func(tx kv.Tx) error {
		s, ok, err := table.Get(tx, id[:])
		if err != nil {
			return err
		}
		if !ok {
			return noSubscriber()
		}
		f(s)
		return table.Put(tx, s)
	})
}

func noSubscriber() error {
	return problem.New(problem.NotFound, "There is no such address on the list.", "Look at the list of messages.")
}

// Remove takes a subscriber off, with what it was sent and what waits for it.
func (t *Teller) Remove(ctx context.Context, id uuid.UUID) error {
	table := subscribers()
	return t.Store.Update(ctx, func(tx kv.Tx) error {
		if err := table.Delete(tx, id[:]); err != nil {
			return err
		}
		if err := clear(tx, messages(), id); err != nil {
			return err
		}
		return clear(tx, tolds(), id)
	})
}

// clear deletes the rows of a subscriber.
func clear[T any](tx kv.Tx, table *index.Table[T], id uuid.UUID) error {
	var keys [][]byte
	for v, err := range table.Scan(tx, id[:], kv.PrefixEnd(id[:]), false) {
		if err != nil {
			return err
		}
		keys = append(keys, table.Key(v))
	}
	for _, k := range keys {
		if err := table.Delete(tx, k); err != nil {
			return err
		}
	}
	return nil
}

// Find gives one subscriber.
func (t *Teller) Find(ctx context.Context, id uuid.UUID) (s Subscriber, err error) {
	err = t.Store.View(ctx, func(r kv.Reader) error {
		x, ok, err := subscribers().Get(r, id[:])
		if err == nil && !ok {
			return noSubscriber()
		}
		if ok {
			s = *x
		}
		return err
	})
	return s, err
}

// Subscribers lists all, by lab and address.
func (t *Teller) Subscribers(ctx context.Context) (out []Subscriber, err error) {
	err = t.Store.View(ctx, func(r kv.Reader) error {
		out = nil
		for s, err := range subscribers().Scan(r, nil, nil, false) {
			if err != nil {
				return err
			}
			out = append(out, *s)
		}
		return nil
	})
	slices.SortFunc(out, func(a, b Subscriber) int {
		if c := slices.Compare(a.Lab[:], b.Lab[:]); c != 0 {
			return c
		}
		return strings.Compare(a.To, b.To)
	})
	return out, err
}

// Package shift keeps who works at the rig: at its own screen, and at each
// paired device.
package shift

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/people"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/secret"
)

// Rig is the seat of the rig's own screen; a paired device has one by its id.
const Rig = "rig"

// IdleLimit is how long a person stays signed in without recording anything.
const IdleLimit = 12 * time.Hour

const (
	table      kv.Table = "agent/shift" // seat -> JSON
	waits      kv.Table = "agent/pins"  // person -> JSON: wrong PINs, and until when no other is taken
	touchEvery          = 5 * time.Minute
)

// Shift is safe for concurrent use.
type Shift struct {
	book  *people.Book
	store kv.Store
	now   func() time.Time
	log   *slog.Logger
	wrong *secret.Throttle

	mu    sync.Mutex
	seats map[string]seat
}

type seat struct {
	Person uuid.UUID `json:"person"`
	Last   time.Time `json:"last"` // something was recorded
}

// Open reads who was signed in when the agent ended; now may be nil.
func Open(ctx context.Context, book *people.Book, store kv.Store, now func() time.Time, log *slog.Logger) (*Shift, error) {
	if now == nil {
		now = time.Now
	}
	s := &Shift{book: book, store: store, now: now, log: log, seats: map[string]seat{},
		wrong: secret.NewThrottle(now, secret.Limits{Tries: "PINs", What: "this name", Free: 3, First: 5 * time.Second, Most: 5 * time.Minute})}
	err := store.View(ctx, func(r kv.Reader) error {
		for e, err := range r.Scan(table, nil, nil) {
			if err != nil {
				return err
			}
			var at seat
			if json.Unmarshal(e.Value, &at) == nil {
				s.seats[string(e.Key)] = at
			}
		}
		for e, err := range r.Scan(waits, nil, nil) {
			if err != nil {
				return err
			}
			var w secret.Wait
			if json.Unmarshal(e.Value, &w) == nil {
				s.wrong.Restore(string(e.Key), w)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read who is signed in: %w", err)
	}
	return s, nil
}

// Book is the list of people.
func (s *Shift) Book() *people.Book { return s.book }

// State says who works at a seat.
type State struct {
	Anybody bool           // somebody is on the list, so that a name is asked for
	Person  *people.Person // nil: nobody
	Ended   string         // why the one who was there is signed out
}

// Who finds out who works at a seat, on the list as it is now.
func (s *Shift) Who(ctx context.Context, of string) (State, error) {
	all, err := s.book.List(ctx, scope.All())
	if err != nil {
		return State{}, err
	}
	s.mu.Lock()
	at, ok := s.seats[of]
	s.mu.Unlock()
	var st State
	for i := range all {
		p := &all[i]
		st.Anybody = st.Anybody || p.OnList()
		switch {
		case !ok || p.ID != at.Person:
		case !p.OnList():
			st.Ended = "Who was signed in here has been taken off the list."
		case s.now().Sub(at.Last) > IdleLimit:
			st.Ended = fmt.Sprintf("Who was signed in here has recorded nothing for %d hours and was signed out.", IdleLimit/time.Hour)
		default:
			st.Person = p
		}
	}
	return st, nil
}

// OnDuty is the id of who works at the rig's own screen; "" for nobody.
func (s *Shift) OnDuty(ctx context.Context) string {
	st, err := s.Who(ctx, Rig)
	if err != nil {
		s.log.Error("who is at the rig", "error", err)
	}
	if st.Person == nil {
		return ""
	}
	return st.Person.ID.String()
}

// SignIn signs a person in at a seat. Wrong PINs cost a wait that grows.
func (s *Shift) SignIn(ctx context.Context, of string, id uuid.UUID, pin string) error {
	p, err := s.book.Find(ctx, scope.All(), id)
	if err != nil {
		return err
	}
	if !p.OnList() {
		return problem.New(problem.Conflict, "This name is not on the list any more.", "Pick another one, or ask who keeps the list.")
	}
	if err := s.wrong.Allow(id.String()); err != nil {
		return err
	}
	ok, err := s.book.Check(&p, pin)
	if err != nil {
		return err
	}
	if !ok {
		s.wrong.Failed(id.String())
		s.keepWait(ctx, id.String())
		return problem.New(problem.Unauthenticated, "This is not the PIN.", "Try again; who keeps the list can set a new one.")
	}
	wrong := s.wrong.Of(id.String()).Failed > 0
	s.wrong.Succeeded(id.String())
	if wrong {
		s.keepWait(ctx, id.String())
	}
	s.log.Info("signed in at the rig", "seat", of, "person", id)
	return s.put(ctx, of, &seat{Person: id, Last: s.now()})
}

// Waits is how long no other PIN of a person is taken; zero: one is taken now.
func (s *Shift) Waits(id uuid.UUID) time.Duration {
	return max(0, s.wrong.Of(id.String()).Until.Sub(s.now()))
}

// keepWait has the wait after wrong PINs last over a restart, which would else be
// a way around it. Where it cannot be kept, it holds until the agent ends.
func (s *Shift) keepWait(ctx context.Context, id string) {
	w := s.wrong.Of(id)
	err := s.store.Update(ctx, func(tx kv.Tx) error {
		if w.Failed == 0 {
			return tx.Delete(waits, []byte(id))
		}
		b, err := json.Marshal(w)
		if err != nil {
			return err
		}
		return tx.Put(waits, []byte(id), b)
	})
	if err != nil {
		s.log.Error("keep the wait after a wrong PIN", "error", err)
	}
}

// SignOut leaves a seat empty.
func (s *Shift) SignOut(ctx context.Context, of string) error { return s.put(ctx, of, nil) }

// Touch notes that something was recorded at a seat.
func (s *Shift) Touch(ctx context.Context, of string) error {
	s.mu.Lock()
	at, ok := s.seats[of]
	s.mu.Unlock()
	now := s.now()
	if since := now.Sub(at.Last); !ok || since >= 0 && since < touchEvery {
		return nil
	}
	at.Last = now
	return s.put(ctx, of, &at)
}

func (s *Shift) put(ctx context.Context, of string, at *seat) error {
	err := s.store.Update(ctx, func(tx kv.Tx) error {
		if at == nil {
			return tx.Delete(table, []byte(of))
		}
		b, err := json.Marshal(at)
		if err != nil {
			return err
		}
		return tx.Put(table, []byte(of), b)
	})
	if err != nil {
		return fmt.Errorf("keep who is signed in: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if at == nil {
		delete(s.seats, of)
	} else {
		s.seats[of] = *at
	}
	return nil
}

// Package tell has the server tell people and programs what they should not have
// to look up: what is due, what looks wrong, alarms, and the digest of a day. By
// mail and by webhook; what could not be delivered waits in the store and is
// tried again.
package tell

import (
	"context"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Fact is one thing to tell of.
type Fact struct {
	Key   string // the same as long as it is the same thing
	Code  string // for programs, as "calibration_overdue"
	Alarm bool   // else it is due, or looks wrong
	Title string // one line
	Text  string
	Path  string // on this server
}

// Digest is what a day of a lab came to.
type Digest struct {
	Sections []Section
	Path     string
}

// Section is one part of a digest.
type Section struct {
	Head  string
	Lines []string
}

// Empty says that there is nothing to tell.
func (d *Digest) Empty() bool { return len(d.Sections) == 0 }

// Source says what there is to tell of a lab.
type Source interface {
	// LabName names a lab; ok is false when there is none.
	LabName(ctx context.Context, lab record.LabID) (name string, ok bool, err error)
	// Facts lists what holds now.
	Facts(ctx context.Context, lab record.LabID) ([]Fact, error)
	// Digest sums up a day, from its midnight to the next in its own zone.
	Digest(ctx context.Context, lab record.LabID, day time.Time) (*Digest, error)
}

// Options of a Teller.
type Options struct {
	Store  kv.Store
	Source Source
	Mail   MailOptions
	// HookPrivate lets webhooks go to loopback, private and link-local addresses,
	// to loopback without TLS too.
	HookPrivate bool
	PublicURL   string // of this server, for links; may be empty
	Name        string // of this server
	Every       time.Duration
	Now         func() time.Time
	Log         *slog.Logger
}

// Teller keeps who wants to hear what, and what is still to be delivered.
type Teller struct {
	Options
	wake chan struct{}
	hook *http.Client
	turn chan struct{} // held while sending
	on   sync.WaitGroup

	mu   sync.Mutex
	busy map[uuid.UUID]bool // subscribers that something is on its way to
}

// usualEvery is how often it looks for something new.
const usualEvery = time.Minute

// New makes a teller.
func New(o Options) *Teller {
	if o.Every == 0 {
		o.Every = usualEvery
	}
	return &Teller{Options: o, wake: make(chan struct{}, 1), hook: hookClient(o.HookPrivate), turn: make(chan struct{}, atOnce), busy: map[uuid.UUID]bool{}}
}

// Wake has it look now.
func (t *Teller) Wake() {
	select {
	case t.wake <- struct{}{}:
	default:
	}
}

// Run looks and delivers until ctx ends. What fails is noted and tried again; it
// never ends for a fault of its own.
func (t *Teller) Run(ctx context.Context) error {
	tick := time.NewTicker(t.Every)
	defer tick.Stop()
	defer t.on.Wait()
	for {
		if err := t.Once(ctx); err != nil && ctx.Err() == nil {
			t.Log.Error("telling people", "error", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		case <-t.wake:
		}
	}
}

// Once looks once, and begins to deliver what is ready.
func (t *Teller) Once(ctx context.Context) error {
	subs, err := t.Subscribers(ctx)
	if err != nil {
		return err
	}
	facts := map[record.LabID][]Fact{}
	for i := range subs {
		s := &subs[i]
		name, ok, err := t.Source.LabName(ctx, s.Lab)
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		if _, ok := facts[s.Lab]; !ok && (s.Due || s.Alarms) {
			if facts[s.Lab], err = t.Source.Facts(ctx, s.Lab); err != nil {
				return err
			}
		}
		if err := t.note(ctx, s, name, facts[s.Lab]); err != nil {
			return err
		}
		if err := t.digest(ctx, s, name); err != nil {
			return err
		}
	}
	t.deliver(ctx, subs)
	return nil
}

// atOnce is to how many subscribers it delivers at the same time.
const atOnce = 4

// deliver begins to send what is ready, in its order to each subscriber. One that
// is slow or fails holds up its own messages alone, and no later look.
func (t *Teller) deliver(ctx context.Context, subs []Subscriber) {
	for i := range subs {
		s := &subs[i]
		if !t.begin(s.ID) {
			continue
		}
		t.on.Go(func() {
			defer t.end(s.ID)
			select {
			case t.turn <- struct{}{}:
				defer func() { <-t.turn }()
			case <-ctx.Done():
				return
			}
			if err := t.deliverTo(ctx, s); err != nil && ctx.Err() == nil {
				t.Log.Error("telling people", "to", s.To, "error", err)
			}
		})
	}
}

// begin says that nothing is on its way to a subscriber, and takes the place.
func (t *Teller) begin(id uuid.UUID) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.busy[id] {
		return false
	}
	t.busy[id] = true
	return true
}

func (t *Teller) end(id uuid.UUID) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.busy, id)
}

// deliverTo sends what is ready until one fails.
func (t *Teller) deliverTo(ctx context.Context, s *Subscriber) error {
	ready, err := t.ready(ctx, s.ID)
	if err != nil {
		return err
	}
	for i := range ready {
		switch _, err := t.Find(ctx, s.ID); {
		case problem.Of(err) == problem.NotFound && err != nil:
			return nil // taken off meanwhile
		case err != nil:
			return err
		}
		failed := t.send(ctx, s, &ready[i])
		if ctx.Err() != nil { // stopped: it is tried again at the next start
			return context.Cause(ctx)
		}
		if err := t.settle(ctx, &ready[i], failed); err != nil {
			return err
		}
		if failed != nil {
			t.Log.Warn("a message could not be delivered", "to", s.To, "tries", ready[i].Tries, "error", failed)
			return nil
		}
	}
	return nil
}

func (t *Teller) send(ctx context.Context, s *Subscriber, m *Message) error {
	ctx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	if s.Hook() {
		return t.post(ctx, s, m)
	}
	return t.mail(ctx, s, m)
}

// sendTimeout bounds one delivery.
const sendTimeout = 30 * time.Second

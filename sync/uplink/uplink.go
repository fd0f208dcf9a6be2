// Package uplink connects a node with a server: it enrols once, and then
// holds sessions as often as there is something to say. Without a server, or
// without a network, the agent works on for ever; what was not handed over is
// always found again, because it is derived from heads and receipts.
package uplink

import (
	"context"
	"crypto/ed25519"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	"thudbook/sync/blob"
	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// Options says what an uplink works on. Ledger, Blobs, Store and Key are needed.
type Options struct {
	Ledger   *ledger.Ledger
	Blobs    blob.Store
	Store    kv.Store // the store of the ledger
	Key      ed25519.PrivateKey
	NextKey  ed25519.PrivateKey // prepared and not yet in use; nil: none
	FirstKey ed25519.PublicKey  // that the installation began with; nil: the present one
	Keys     KeyStore           // nil: the key never changes
	Software string

	Roots      *x509.CertPool // authorities beside the system's; nil: those of the system
	AllowPlain bool           // http:// to other computers, behind a named proxy
	// Fetch says which attachments of pulled records are wanted here; nil: none.
	Fetch func(*record.Record, record.Attachment) bool
	// Gone says which attachments are erased; nil: none.
	Gone func(context.Context, record.LabID, record.Hash) (bool, error)
	// Slot tells the servers apart that one node holds sessions with; an agent
	// has one server, and no name for it.
	Slot string
	// Only, Aliases and Rights are those of exchange.Options; nil: none.
	Only    func(context.Context, record.LabID) (bool, error)
	Aliases func(context.Context, []exchange.Alias) error
	Rights  exchange.Rights
	// Dial makes the peer of a session; nil: HTTP.
	Dial func(Settings) (exchange.Peer, error)

	Every      time.Duration // between sessions when nothing happens; 0: 30 s
	MinBackoff time.Duration // 0: 1 s
	MaxBackoff time.Duration // 0: 5 min
	Now        func() time.Time
	Log        *slog.Logger
}

// KeyStore keeps the node's keys, durably.
type KeyStore interface {
	// Prepare makes the key to go on with, or gives the one made before.
	Prepare() (ed25519.PrivateKey, error)
	// Promote puts the prepared key in the place of the present one.
	Promote() error
}

// Uplink is safe for concurrent use.
type Uplink struct {
	o    Options
	wake chan struct{}

	mu       sync.Mutex
	settings *Settings // nil: not enrolled
	peer     exchange.Peer
	key      ed25519.PrivateKey
	next     ed25519.PrivateKey // to go on with, once the server has taken it; nil: none
	batch    *exchange.BatchSize
	st       sessionState
	changed  chan struct{} // closed and replaced at every change

	meterMu sync.Mutex
	meter   meter
}

// sessionState is what the last session left behind.
type sessionState struct {
	connected bool
	running   bool
	last      time.Time // complete session
	offset    time.Duration
	measured  bool
	err       error
	notices   []exchange.Notice
	progress  exchange.Progress
	dates     string
	since     time.Time // of err or failedStart
	next      time.Time // session

	failedStart error // of the last try to enrol, as long as there was no enrolment
}

// Open reads the settings.
func Open(ctx context.Context, o Options) (*Uplink, error) {
	if o.Ledger == nil || o.Blobs == nil || o.Store == nil || len(o.Key) != ed25519.PrivateKeySize {
		return nil, errors.New("uplink: a ledger, blobs, a store and a key are needed")
	}
	or := func(d *time.Duration, def time.Duration) {
		if *d <= 0 {
			*d = def
		}
	}
	or(&o.Every, 30*time.Second)
	or(&o.MinBackoff, time.Second)
	or(&o.MaxBackoff, 5*time.Minute)
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	u := &Uplink{o: o, wake: make(chan struct{}, 1), batch: &exchange.BatchSize{}, changed: make(chan struct{}), key: o.Key, next: o.NextKey}
	var s Settings
	found, err := load(ctx, o.Store, u.slotted(serverKey), &s)
	if err != nil {
		return nil, fmt.Errorf("read the settings of the server: %w", err)
	}
	if found {
		u.settings = &s
		if s.ExchangedMS != 0 {
			u.st.last = time.UnixMilli(s.ExchangedMS).UTC()
		}
	}
	return u, nil
}

// Settings gives what enrolment settled; false: not enrolled.
func (u *Uplink) Settings() (Settings, bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.settings == nil {
		return Settings{}, false
	}
	return *u.settings, true
}

// Lab is the lab to write new records under: the server's, or before enrolment
// the local one that follows from the node's key.
func (u *Uplink) Lab() record.LabID {
	if s, ok := u.Settings(); ok {
		return s.Lab
	}
	return u.LocalLab()
}

// LocalLab is the lab that this agent wrote under before it was enrolled.
func (u *Uplink) LocalLab() record.LabID {
	if u.o.FirstKey != nil {
		return exchange.LocalLab(u.o.FirstKey)
	}
	return exchange.LocalLab(u.o.Key.Public().(ed25519.PublicKey))
}

// Labs are all labs that records of this agent may stand under.
func (u *Uplink) Labs() []record.LabID {
	if s, ok := u.Settings(); ok {
		return []record.LabID{s.Lab, u.LocalLab()}
	}
	return []record.LabID{u.LocalLab()}
}

// adopt takes new settings into use.
func (u *Uplink) adopt(s *Settings) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.settings, u.peer, u.st = s, nil, sessionState{}
	u.signal()
}

// Wake asks for a session now: after a shot, or by the operator.
func (u *Uplink) Wake() {
	select {
	case u.wake <- struct{}{}:
	default:
	}
}

// Changed gives a channel that is closed at the next change of State.
func (u *Uplink) Changed() <-chan struct{} {
	u.mu.Lock()
	defer u.mu.Unlock()
	return u.changed
}

// signal tells those who wait for a change; the caller holds the lock.
func (u *Uplink) signal() {
	close(u.changed)
	u.changed = make(chan struct{})
}

// Run holds sessions until ctx ends. It returns nil then: a missing server is
// no error.
func (u *Uplink) Run(ctx context.Context) error {
	timer := time.NewTimer(0)
	defer timer.Stop()
	failures := 0
	var asked time.Time // the server asked not to come before
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-timer.C:
		case <-u.wake:
			if time.Now().Before(asked) {
				continue // the timer is set for then
			}
		}
		wait := u.o.Every
		if _, ok := u.Settings(); ok {
			res, err := u.session(ctx)
			if wait, failures = u.after(res, err, failures); exchange.WaitOf(err) > 0 {
				asked = time.Now().Add(wait)
			}
			if ctx.Err() == nil {
				u.plan(wait)
			}
		}
		timer.Reset(wait)
	}
}

// after says how long to wait after a session, and counts failures: one that
// moved something is the first of its row.
func (u *Uplink) after(res exchange.Result, err error, failures int) (time.Duration, int) {
	switch {
	case err == nil && res.More:
		return 0, 0
	case err == nil:
		return u.o.Every, 0
	case res.BytesSent > 0 || res.RecordsReceived > 0 || res.BlobsReceived > 0:
		failures = 1
	default:
		failures++
	}
	wait := u.backoff(failures)
	if asked := exchange.WaitOf(err); asked > 0 {
		wait = max(wait, asked+rand.N(asked/10+time.Millisecond)) // not all at once
	}
	return wait, failures
}

// backoff gives a time between nothing and a limit that doubles with every
// failure: full jitter, so that agents do not come back all at once.
func (u *Uplink) backoff(failures int) time.Duration {
	limit := u.o.MaxBackoff
	if shift := failures - 1; shift < 30 {
		limit = min(limit, u.o.MinBackoff<<shift)
	}
	return rand.N(limit) + time.Millisecond
}

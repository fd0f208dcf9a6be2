// Package ledger is the log of records: one dense, chained sequence per origin,
// in a kv store, with the views that are computed from it kept in the same
// transaction.
//
// What holds at any instant, and after any crash:
//
//   - A sequence number comes from the committed head, inside the transaction.
//   - Append returns after the commit and after the anchor, a small file outside
//     the store, knows the new head.
//   - An own origin whose head lies below its anchor, or differs from it, is
//     closed: the next append opens the next epoch, whose first record names
//     the one it continues. An origin whose continuity was ever in doubt is
//     never written again.
//   - After a commit whose outcome is unknown nothing more is written until
//     Recover, or a new Open, has read what is really there.
//   - A second history under one origin is kept as evidence, never merged.
//   - Damage is named by origin and sequence number; nothing is removed.
package ledger

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/blob"
	"thudbook/sync/hlc"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Draft is a fact that is not yet in the log.
type Draft struct {
	Kind        record.Kind
	Schema      uint
	Author      string // empty means "node"
	UID         uuid.UUID
	Body        []byte
	Attachments []record.Attachment // must be in the blob store, with this size
}

// Applier takes each record into the views, in the transaction that logs it.
// What it writes must not depend on the order of records of different origins.
// A kind it does not know, or a body it cannot read, is no error: an error
// stops the append, and with it the exchange with other nodes.
type Applier interface {
	Apply(tx kv.Tx, r *record.Record) error
}

// ViewSet is an Applier that names every table it writes, so that the views can
// be dropped, rebuilt and compared.
type ViewSet interface {
	Applier
	Tables() []kv.Table
}

// Versioned may be implemented by a ViewSet: when the version differs from the
// one that the stored views were made with, Open rebuilds them.
type Versioned interface{ Version() string }

// Options of a ledger. Dir or Anchor, Node, Key and Store are needed.
type Options struct {
	Dir      string // data folder; the anchor lies there unless Anchor says otherwise
	Node     record.NodeID
	Key      ed25519.PrivateKey
	Store    kv.Store
	Blobs    blob.Store // nil: no record may have attachments
	Views    Applier    // nil: no views
	Now      func() time.Time
	Log      *slog.Logger
	Anchor   string // path of the anchor file; another volume is best
	Software string // program and version, for the first record of an origin
	// RebuildAtOnce: with more records than this, views that have to be rebuilt
	// are rebuilt in the background; 0: always before Open returns.
	RebuildAtOnce int64
	// Skip gives a number below limit, how many epochs a restored server leaves
	// out; nil: a random one. Trials that must repeat give their own.
	Skip func(limit uint32) uint32
}

// Ledger is safe for concurrent use. It does not own the store: close the
// ledger first, then the store.
type Ledger struct {
	opts   Options
	store  kv.Store
	log    *slog.Logger
	clock  *hlc.Clock
	anchor *anchor
	fault  atomic.Pointer[error]

	gate sync.RWMutex // appends hold it for reading, rebuild and recover alone

	mu      sync.Mutex
	own     map[record.LabID]ownState
	floor   uint32 // the first epoch of a lab that has none yet
	notices []string

	building     atomic.Pointer[Rebuilding]
	rebuilds     sync.WaitGroup
	stopRebuild  context.CancelFunc // guarded by mu; nil: none runs in the background
	rebuildAgain bool               // guarded by mu: the views became incomplete meanwhile
}

// Open opens the ledger in a store, checks the end of every chain against heads
// and anchor, and rebuilds the views if an earlier rebuild was cut short.
func Open(ctx context.Context, o Options) (*Ledger, error) {
	if err := o.complete(); err != nil {
		return nil, err
	}
	l := &Ledger{opts: o, store: o.Store, log: o.Log}
	if err := l.load(ctx); err != nil {
		return nil, err
	}
	if err := l.finish(ctx); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return l, nil
}

// finish ends what an earlier stop cut short.
func (l *Ledger) finish(ctx context.Context) error {
	if err := l.finishCarrying(ctx); err != nil {
		return err
	}
	return l.mendViews(ctx)
}

func (o *Options) complete() error {
	if o.Anchor == "" {
		if o.Dir == "" {
			return errors.New("ledger: neither Dir nor Anchor is given")
		}
		o.Anchor = DefaultAnchor(o.Dir)
	}
	if o.Node == uuid.Nil || len(o.Key) != ed25519.PrivateKeySize || o.Store == nil {
		return errors.New("ledger: Node, Key and Store are needed")
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Skip == nil {
		o.Skip = rand.Uint32N
	}
	if o.Software == "" {
		o.Software = "thudbook"
	}
	return nil
}

// Close closes the anchor file; the store stays open.
func (l *Ledger) Close() error {
	l.endRebuild()
	l.gate.Lock()
	defer l.gate.Unlock()
	closed := unavailable("the ledger is closed", nil)
	l.fault.Store(&closed)
	return l.anchor.close()
}

// Recover reads again what is in the store after a commit whose outcome was
// unknown, and then allows appends again. Until then nothing is written but one
// commit, over which what is read again becomes durable: a failed sync may have
// left it in memory alone. After an error the store can be read where the disk
// allows it, and Recover may be called again.
func (l *Ledger) Recover(ctx context.Context) error {
	l.gate.Lock()
	defer l.gate.Unlock()
	if err := l.Faulted(); err != nil {
		l.fault.CompareAndSwap(nil, &err) // stays until everything is well
	}
	if err := l.reopen(ctx); err != nil {
		return err
	}
	if err := l.store.Update(ctx, func(tx kv.Tx) error { return tx.Put(metaTable, metaNode, l.nodeValue()) }); err != nil {
		return errors.Join(err, l.reopen(ctx))
	}
	if err := l.anchor.close(); err != nil {
		l.log.Warn("anchor file did not close", "error", err)
	}
	if err := l.load(ctx); err != nil {
		return err
	}
	l.fault.Store(nil)
	return l.finish(ctx)
}

// reopen opens the store again, where it can be.
func (l *Ledger) reopen(ctx context.Context) error {
	if s, ok := l.store.(kv.Reopener); ok {
		return s.Reopen(ctx)
	}
	return nil
}

// Faulted tells why the ledger takes no appends, nil if it does. Others write
// to the store as well: a failed commit of theirs stops the ledger too.
func (l *Ledger) Faulted() error {
	const what = "the ledger stopped after a write whose outcome is unknown"
	if err := l.fault.Load(); err != nil {
		return unavailable(what, *err)
	}
	if s, ok := l.store.(kv.Reopener); ok {
		if err := s.Stopped(); err != nil {
			return unavailable(what, err)
		}
	}
	return nil
}

func unavailable(what string, err error) error {
	return &problem.Error{Code: problem.Unavailable, What: what,
		Fix: "free space or mend the disk; then the ledger is opened again and reads what is there", Err: err}
}

// Node gives the id of the node that writes here.
func (l *Ledger) Node() record.NodeID { return l.opts.Node }

// SetKey changes the key that the first record of a new origin names.
func (l *Ledger) SetKey(key ed25519.PrivateKey) {
	l.gate.Lock()
	defer l.gate.Unlock()
	l.opts.Key = key
}

// Own gives the origin that the next append for a lab goes to.
func (l *Ledger) Own(lab record.LabID) record.Origin {
	l.mu.Lock()
	defer l.mu.Unlock()
	st, ok := l.own[lab]
	if !ok {
		st.Next = l.floor
	}
	return record.Origin{Node: l.opts.Node, Lab: lab, Epoch: st.nextEpoch()}
}

// Notices gives, in plain words, what Open and later work found that a person
// should know.
func (l *Ledger) Notices() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.notices)
}

func (l *Ledger) notice(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	l.log.Warn("ledger notice", "text", text)
	l.mu.Lock()
	defer l.mu.Unlock()
	if !slices.Contains(l.notices, text) {
		l.notices = append(l.notices, text)
	}
}

// Heads gives the head of every origin: the version vector. An origin whose
// head entry is damaged is left out and named in Notices.
func (l *Ledger) Heads(ctx context.Context) (map[record.Origin]record.Head, error) {
	heads := make(map[record.Origin]record.Head)
	err := l.store.View(ctx, func(r kv.Reader) error {
		all, err := ScanHeads(r)
		for o, h := range all {
			heads[o] = h.Head
		}
		if problem.Of(err) == problem.Damaged {
			l.notice("Damage: %v", err)
			return nil
		}
		return err
	})
	return heads, err
}

// Head gives the head of one origin, zero if there is none.
func (l *Ledger) Head(ctx context.Context, origin record.Origin) (record.Head, error) {
	var head HeadEntry
	err := l.store.View(ctx, func(r kv.Reader) (err error) {
		head, err = readHead(r, origin)
		return err
	})
	return head.Head, err
}

// View runs fn on a snapshot of the store that the ledger lives in.
func (l *Ledger) View(ctx context.Context, fn func(kv.Reader) error) error {
	return l.store.View(ctx, fn)
}

// setOwn keeps what the last committed transaction said about own origins.
func (l *Ledger) setOwn(lab record.LabID, st ownState) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if st.newer(l.own[lab]) {
		next := maps.Clone(l.own)
		next[lab] = st
		l.own = next
	}
}

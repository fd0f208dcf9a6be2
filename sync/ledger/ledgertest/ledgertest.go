// Package ledgertest opens real ledgers in temporary folders for tests, and
// verifies everything in them when the test ends.
package ledgertest

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"thudbook/sync/blob/dirblob"
	"thudbook/sync/care"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/kv/kvtest"
	"thudbook/sync/ledger"
	"thudbook/sync/node"
)

// Options of a ledger under test; the zero value is a node of its own without views.
type Options struct {
	Dir     string // empty: a temporary folder
	Views   care.ViewSet
	Now     func() time.Time
	Want    care.Class              // what the verification at the end must come to
	NoBlobs bool                    // no blob store: opens faster
	Damaged bool                    // leave out the verification at the end
	Wrap    func(kv.Store) kv.Store // between ledger and store, for faults

	RebuildAtOnce int64                     // see ledger.Options
	Skip          func(limit uint32) uint32 // see ledger.Options
}

// Ledger is an open ledger with its parts.
type Ledger struct {
	*ledger.Ledger
	Dir   string
	Node  node.Identity
	Store *boltkv.Store
	Blobs *dirblob.Store
	opts  Options
	plain bool
}

// Open opens a ledger and closes and verifies it in the test's cleanup.
func Open(t testing.TB, options ...Options) *Ledger {
	t.Helper()
	var o Options
	if len(options) > 0 {
		o = options[0]
	}
	if o.Dir == "" {
		o.Dir = t.TempDir()
	}
	l := &Ledger{Dir: o.Dir, opts: o}
	_, l.plain = t.(*testing.B) // measured without the wrapper
	if err := l.open(); err != nil {
		t.Fatalf("open ledger: %v", err)
	}
	t.Cleanup(func() { l.end(t) })
	return l
}

func (l *Ledger) open() (err error) {
	if l.Node, err = node.LoadOrCreate(l.Dir); err != nil {
		return err
	}
	l.Store, err = boltkv.Open(l.StorePath(), boltkv.Options{Ordered: ledger.OrderedTables()})
	if err != nil {
		return err
	}
	store := kv.Store(l.Store)
	if !l.plain { // whatever outlives its transaction is noticed
		store = kvtest.Scrambled(store)
	}
	if l.opts.Wrap != nil {
		store = l.opts.Wrap(store)
	}
	lo := ledger.Options{
		Dir: l.Dir, Node: l.Node.ID, Key: l.Node.PrivateKey,
		Store: store, Now: l.opts.Now, Software: "ledgertest", RebuildAtOnce: l.opts.RebuildAtOnce, Skip: l.opts.Skip,
	}
	if !l.opts.NoBlobs {
		if l.Blobs, err = dirblob.Open(filepath.Join(l.Dir, "blobs")); err != nil {
			return err
		}
		lo.Blobs = l.Blobs
	}
	if l.opts.Views != nil {
		lo.Views = l.opts.Views
	}
	l.Ledger, err = ledger.Open(context.Background(), lo)
	return err
}

// StorePath is the file of the store.
func (l *Ledger) StorePath() string { return filepath.Join(l.Dir, "store") }

// AnchorPath is the file of the anchor.
func (l *Ledger) AnchorPath() string { return ledger.DefaultAnchor(l.Dir) }

// Stop closes ledger and store, so that their files can be touched.
func (l *Ledger) Stop(t testing.TB) {
	t.Helper()
	if l.Ledger != nil {
		if err := l.Ledger.Close(); err != nil {
			t.Errorf("close ledger: %v", err)
		}
		l.Ledger = nil
	}
	if l.Store != nil {
		if err := l.Store.Close(); err != nil {
			t.Errorf("close store: %v", err)
		}
		l.Store = nil
	}
}

// Reopen closes everything and opens it again from the files.
func (l *Ledger) Reopen(t testing.TB) {
	t.Helper()
	l.Stop(t)
	if err := l.open(); err != nil {
		t.Fatalf("reopen ledger: %v", err)
	}
}

// Verify runs the whole verification.
func (l *Ledger) Verify(ctx context.Context) (*care.Report, error) {
	src := care.Source{Store: l.Store, Anchor: l.AnchorPath(), Node: l.Node.ID, Views: l.opts.Views, Temp: l.Dir}
	if l.Blobs != nil {
		src.Blobs = l.Blobs
	}
	return care.Verify(ctx, src)
}

func (l *Ledger) end(t testing.TB) {
	defer l.Stop(t)
	if l.opts.Damaged || l.Ledger == nil || t.Failed() {
		return
	}
	report, err := l.Verify(context.Background())
	if err != nil {
		t.Errorf("verify: %v", err)
		return
	}
	if report.Class() != l.opts.Want {
		t.Errorf("verify comes to class %d, want %d:\n%s", report.Class(), l.opts.Want, report)
	}
}

// Package home is a node's data folder: which file lies where, in which order
// the parts are opened, and in which they are closed. Agent, server and the
// commands that look at a folder share it.
package home

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"path/filepath"
	"sync"
	"time"

	"thudbook/sync/blob/dirblob"
	"thudbook/sync/care"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/ledger"
	"thudbook/sync/node"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Home is an opened data folder.
type Home struct {
	Dir    string
	Node   node.Identity
	Store  *boltkv.Store
	Blobs  *dirblob.Store
	Views  *view.Set
	Ledger *ledger.Ledger
	Reader *view.Reader

	control *control
	mender  mender
	now     func() time.Time

	orderMu sync.Mutex
	orders  map[string]Order
}

// StorePath is the file that holds records and views.
func StorePath(dir string) string { return filepath.Join(dir, "store.db") }

// BlobPath is the folder that holds attachments.
func BlobPath(dir string) string { return filepath.Join(dir, "attachments") }

// rebuildAtOnce is how many records are worth a wait of some seconds at the
// start, when views have to be rebuilt; more are read in the background.
const rebuildAtOnce = 20_000

// Options of Open.
type Options struct {
	Dir      string
	Log      *slog.Logger
	Now      func() time.Time // nil: time.Now
	Software string           // program and version
	// Observe is told how long each update of the ledger took; nil: nobody is.
	Observe       func(took time.Duration, err error)
	RebuildAtOnce int64 // records that are worth a wait at the start; 0: 20,000
}

// Open opens a data folder, and makes it where there is none.
func Open(ctx context.Context, o Options) (*Home, error) {
	if err := care.MakeFolder(o.Dir); err != nil {
		return nil, &problem.Error{Code: problem.Unavailable, What: "the data folder cannot be made", Where: o.Dir, Fix: "check the path and the right to write there", Err: err}
	}
	h := &Home{Dir: o.Dir, Views: view.New(), now: o.Now}
	if h.now == nil {
		h.now = time.Now
	}
	before, err := hasStore(o.Dir)
	if err != nil {
		return nil, err
	}
	if !before { // a store that is new must not stand without an identity
		if h.Node, err = node.LoadOrCreate(o.Dir); err != nil {
			return nil, err
		}
	}
	if h.Store, err = boltkv.Open(StorePath(o.Dir), boltkv.Options{Log: o.Log, Ordered: ledger.OrderedTables()}); err != nil {
		return nil, err
	}
	lost, err := h.identify(ctx)
	if err != nil {
		return nil, errors.Join(err, h.Store.Close())
	}
	if h.Blobs, err = dirblob.Open(BlobPath(o.Dir)); err != nil {
		return nil, errors.Join(err, h.Store.Close())
	}
	var store kv.Store = h.Store
	if o.Observe != nil {
		store = kv.Timed{Store: h.Store, Observe: o.Observe}
	}
	h.Ledger, err = ledger.Open(ctx, ledger.Options{Dir: o.Dir, Node: h.Node.ID, Key: h.Node.PrivateKey, Store: store,
		Blobs: h.Blobs, Views: h.Views, Now: o.Now, Log: o.Log, Software: o.Software, RebuildAtOnce: cmp.Or(o.RebuildAtOnce, rebuildAtOnce)})
	if err != nil {
		return nil, errors.Join(err, h.Store.Close())
	}
	if lost {
		if err := h.replaceKey(ctx); err != nil {
			return nil, errors.Join(err, h.Ledger.Close(), h.Store.Close())
		}
	}
	h.Reader = h.Views.Reader(h.Store)
	h.control = openControl(h, o)
	return h, nil
}

// Close ends what was asked for through the control file, then closes the
// ledger, then the store.
func (h *Home) Close() error {
	return errors.Join(h.control.close(), h.Ledger.Close(), h.Store.Close())
}

// Own is the scope of the owner of the folder: everything in it.
func (h *Home) Own() scope.Scope { return scope.All() }

package labtest

import (
	"crypto/ed25519"
	"crypto/sha256"
	"log/slog"
	"path/filepath"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/blob"
	"thudbook/sync/blob/dirblob"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/ledger"
	"thudbook/sync/view"
)

// Node is a ledger with its stores and views in a folder of the test.
type Node struct {
	Ledger *ledger.Ledger
	Store  kv.Store
	Blobs  blob.Store
	Views  *view.Set
	Reader *view.Reader
}

// Open makes an empty node that is closed when the test ends.
func Open(t testing.TB) *Node {
	t.Helper()
	dir := t.TempDir()
	store, err := boltkv.Open(filepath.Join(dir, "ledger.db"), boltkv.Options{})
	if err != nil {
		t.Fatalf("open the store: %v", err)
	}
	t.Cleanup(func() {
		if err := store.Close(); err != nil {
			t.Errorf("close the store: %v", err)
		}
	})
	blobs, err := dirblob.Open(filepath.Join(dir, "blobs"))
	if err != nil {
		t.Fatalf("open the blobs: %v", err)
	}
	views := view.New()
	seed := sha256.Sum256([]byte(dir))
	l, err := ledger.Open(t.Context(), ledger.Options{
		Dir: dir, Node: uuid.New(), Key: ed25519.NewKeyFromSeed(seed[:]), Store: store, Blobs: blobs,
		Views: views, Log: slog.New(slog.DiscardHandler), Software: "labtest",
	})
	if err != nil {
		t.Fatalf("open the ledger: %v", err)
	}
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Errorf("close the ledger: %v", err)
		}
	})
	return &Node{Ledger: l, Store: store, Blobs: blobs, Views: views, Reader: views.Reader(store)}
}

package ledger_test

import (
	"errors"
	"testing"
	"time"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/node"
	"thudbook/sync/trial/memkv"
)

// The programs measure their commits through kv.Timed, and others than the
// ledger write to the store (receipts, holdings, accounts). A failed commit of
// theirs stops the ledger as well, and Recover brings both back.
func TestAFailedCommitOfOthersIsRecovered(t *testing.T) {
	dir := t.TempDir()
	id, err := node.Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	under := memkv.Open(&memkv.Disk{})
	store := kv.Timed{Store: under, Observe: func(time.Duration, error) {}}
	l, err := ledger.Open(t.Context(), ledger.Options{Dir: dir, Node: id.ID, Key: id.PrivateKey, Store: store})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
	}()
	under.Outcome = func() memkv.Outcome { return memkv.Lost }
	err = store.Update(t.Context(), func(tx kv.Tx) error { return tx.Put("receipts", []byte("k"), []byte("v")) })
	if !errors.Is(err, kv.ErrUnknown) {
		t.Fatalf("a failed commit = %v", err)
	}
	if l.Faulted() == nil {
		t.Error("the store refuses everything, and the ledger does not know")
	}
	under.Outcome = nil
	if err := l.Recover(t.Context()); err != nil || l.Faulted() != nil {
		t.Fatalf("Recover = %v, then %v", err, l.Faulted())
	}
	if recs, err := l.Append(t.Context(), labA, draft("note", "after")); err != nil || recs[0].Seq != 2 {
		t.Errorf("the next append: %v, %v", recs, err)
	}
}

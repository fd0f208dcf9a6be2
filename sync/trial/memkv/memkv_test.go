package memkv_test

import (
	"errors"
	"testing"

	"thudbook/sync/kv"
	"thudbook/sync/kv/kvtest"
	"thudbook/sync/trial/memkv"
)

// A trial on this store says something only if the store is what the seam says.
func TestConforms(t *testing.T) {
	kvtest.Run(t, func(t testing.TB) kv.Store {
		s := memkv.Open(&memkv.Disk{})
		t.Cleanup(func() {
			if err := s.Close(); err != nil {
				t.Error(err)
			}
		})
		return s
	})
}

func TestOutcomesOfACommit(t *testing.T) {
	for how, want := range map[memkv.Outcome]struct{ there, unknown, usable bool }{
		memkv.Good: {true, false, true}, memkv.Refuse: {false, false, true},
		memkv.Lost: {false, true, false}, memkv.Kept: {true, true, false},
	} {
		disk := &memkv.Disk{}
		s := memkv.Open(disk)
		s.Outcome = func() memkv.Outcome { return how }
		err := s.Update(t.Context(), func(tx kv.Tx) error { return tx.Put("t", []byte("k"), []byte("v")) })
		if (err == nil) != (how == memkv.Good) || errors.Is(err, kv.ErrUnknown) != want.unknown {
			t.Errorf("outcome %d: %v", how, err)
		}
		nothing := func(kv.Reader) error { return nil }
		if err := s.View(t.Context(), nothing); (err == nil) != want.usable {
			t.Errorf("outcome %d: afterwards %v", how, err)
		}
		if err := s.Reopen(t.Context()); err != nil {
			t.Fatal(err)
		}
		copied := memkv.Open(disk.Clone())
		for _, s := range []*memkv.Store{s, copied} {
			err := s.View(t.Context(), func(r kv.Reader) error {
				if b, err := r.Get("t", []byte("k")); err != nil || (b != nil) != want.there {
					t.Errorf("outcome %d: %q, %v", how, b, err)
				}
				return nil
			})
			if err != nil {
				t.Error(err)
			}
		}
	}
}

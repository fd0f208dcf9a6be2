package kvtest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"

	"thudbook/sync/kv"
)

func snapshot(t *testing.T, s kv.Store) {
	put(t, s, "a")
	view(t, s, func(r kv.Reader) error {
		done := make(chan error, 1)
		go func() { // another caller; the view waits for it below
			done <- s.Update(context.WithoutCancel(t.Context()), func(tx kv.Tx) error { return tx.Put(table, []byte("b"), []byte("vb")) })
		}()
		if err := <-done; err != nil {
			return err
		}
		keys, err := collect(r.Scan(table, nil, nil))
		if !slices.Equal(keys, []string{"a"}) {
			t.Errorf("the snapshot shows %q", keys)
		}
		return err
	})
	wantKeys(t, s, nil, nil, "a", "b")
}

func neighbours(t *testing.T, s kv.Store) {
	stop := errors.New("stop")
	var wg sync.WaitGroup
	for i := range 60 {
		wg.Go(func() {
			err := s.Update(t.Context(), func(tx kv.Tx) error {
				k := fmt.Sprintf("k%02d", i)
				err := tx.Put(table, []byte(k), []byte("v"+k))
				if i%3 == 0 {
					return errors.Join(err, stop)
				}
				return err
			})
			if (i%3 == 0) != errors.Is(err, stop) || i%3 != 0 && err != nil {
				t.Errorf("update %d = %v", i, err)
			}
		})
	}
	wg.Wait()
	var want []string
	for i := range 60 {
		if i%3 != 0 {
			want = append(want, fmt.Sprintf("k%02d", i))
		}
	}
	wantKeys(t, s, nil, nil, want...)
}

func counters(t *testing.T, s kv.Store) {
	const writers, each = 8, 25
	var wg sync.WaitGroup
	for range writers {
		wg.Go(func() {
			for range each {
				err := s.Update(t.Context(), func(tx kv.Tx) error {
					n := uint64(0)
					b, err := tx.Get(table, []byte("n"))
					if err != nil {
						return err
					}
					if b != nil {
						if n, _, err = kv.CutU64(b); err != nil {
							return err
						}
					}
					return tx.Put(table, []byte("n"), kv.U64(n+1))
				})
				if err != nil {
					t.Errorf("Update: %v", err)
				}
			}
		})
	}
	wg.Wait()
	wantValue(t, s, "n", kv.U64(writers*each))
}

func endedContext(t *testing.T, s kv.Store) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	ran := false
	if err := s.View(ctx, func(kv.Reader) error { ran = true; return nil }); !errors.Is(err, context.Canceled) || ran {
		t.Errorf("View = %v, ran %v", err, ran)
	}
	err := s.Update(ctx, func(tx kv.Tx) error { return tx.Put(table, []byte("k"), []byte("vk")) })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("Update = %v", err)
	}
	wantKeys(t, s, nil, nil)
}

func afterEnd(t *testing.T, s kv.Store) {
	put(t, s, "a")
	var kept kv.Tx
	update(t, s, func(tx kv.Tx) error { kept = tx; return nil })
	if _, err := kept.Get(table, []byte("a")); !errors.Is(err, kv.ErrDone) {
		t.Errorf("Get = %v", err)
	}
	if err := kept.Put(table, []byte("b"), []byte("vb")); !errors.Is(err, kv.ErrDone) {
		t.Errorf("Put = %v", err)
	}
	if _, err := collect(kept.Scan(table, nil, nil)); !errors.Is(err, kv.ErrDone) {
		t.Errorf("Scan = %v", err)
	}
	wantKeys(t, s, nil, nil, "a")
}

func afterClose(t *testing.T, s kv.Store) {
	if err := s.Close(); err != nil {
		t.Fatalf("Close: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Errorf("second Close: %v", err)
	}
	nothing := errors.New("it ran")
	if err := s.View(t.Context(), func(kv.Reader) error { return nothing }); err == nil || errors.Is(err, nothing) {
		t.Errorf("View = %v", err)
	}
	if err := s.Update(t.Context(), func(kv.Tx) error { return nothing }); err == nil || errors.Is(err, nothing) {
		t.Errorf("Update = %v", err)
	}
}

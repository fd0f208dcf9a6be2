// Package kvtest is the conformance suite of kv stores: the seam is what it says.
package kvtest

import (
	"bytes"
	"errors"
	"fmt"
	"iter"
	"slices"
	"testing"

	"thudbook/sync/kv"
)

const table kv.Table = "kvtest"

// Run checks a store made by open, which must return an empty one each time and
// close it in the test's cleanup.
func Run(t *testing.T, open func(testing.TB) kv.Store) {
	for _, c := range []struct {
		name string
		run  func(*testing.T, kv.Store)
	}{
		{"an absent key reads as nil", absent},
		{"what was put is read, in and after the transaction", putGet},
		{"keys of any bytes sort as bytes do", byteOrder},
		{"a scan gives from <= key < to, both ways", bounds},
		{"a loop may end early", earlyEnd},
		{"a failed update leaves nothing", failedUpdate},
		{"an update that panics leaves nothing and the store goes on", panicking},
		{"empty values and keys are refused, not lost", emptyValues},
		{"a table is not written while it is scanned", writeWhileScanning},
		{"delete and drop tolerate what is absent", deleteAbsent},
		{"drop empties one table only", drop},
		{"slices given to put may be used again", slicesNotKept},
		{"a snapshot does not change", snapshot},
		{"a failing update does not hurt its neighbours", neighbours},
		{"concurrent counters lose nothing", counters},
		{"an ended context is noticed", endedContext},
		{"nothing works after the transaction", afterEnd},
		{"nothing works after close", afterClose},
	} {
		t.Run(c.name, func(t *testing.T) { c.run(t, open(t)) })
	}
	t.Run("random histories agree with a map", func(t *testing.T) { model(t, open) })
}

func update(t *testing.T, s kv.Store, fn func(kv.Tx) error) {
	t.Helper()
	if err := s.Update(t.Context(), fn); err != nil {
		t.Fatalf("Update: %v", err)
	}
}

func view(t *testing.T, s kv.Store, fn func(kv.Reader) error) {
	t.Helper()
	if err := s.View(t.Context(), fn); err != nil {
		t.Fatalf("View: %v", err)
	}
}

func put(t *testing.T, s kv.Store, keys ...string) {
	t.Helper()
	update(t, s, func(tx kv.Tx) error {
		for _, k := range keys {
			if err := tx.Put(table, []byte(k), []byte("v"+k)); err != nil {
				return err
			}
		}
		return nil
	})
}

// collect reads keys, and checks that each value is "v" and the key.
func collect(entries iter.Seq2[kv.Entry, error]) ([]string, error) {
	var keys []string
	for e, err := range entries {
		if err != nil {
			return keys, err
		}
		if string(e.Value) != "v"+string(e.Key) {
			return keys, fmt.Errorf("key %q has value %q", e.Key, e.Value)
		}
		keys = append(keys, string(e.Key))
	}
	return keys, nil
}

func wantKeys(t *testing.T, s kv.Store, from, to []byte, want ...string) {
	t.Helper()
	view(t, s, func(r kv.Reader) error {
		got, err := collect(r.Scan(table, from, to))
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("Scan(%q, %q) = %q, %v, want %q", from, to, got, err, want)
		}
		back := slices.Clone(want)
		slices.Reverse(back)
		got, err = collect(r.ScanBack(table, from, to))
		if err != nil || !slices.Equal(got, back) {
			t.Errorf("ScanBack(%q, %q) = %q, %v, want %q", from, to, got, err, back)
		}
		return nil
	})
}

func wantValue(t *testing.T, s kv.Store, key string, want []byte) {
	t.Helper()
	view(t, s, func(r kv.Reader) error {
		got, err := r.Get(table, []byte(key))
		if err != nil || !bytes.Equal(got, want) || (got == nil) != (want == nil) {
			t.Errorf("Get(%q) = %q, %v, want %q", key, got, err, want)
		}
		return nil
	})
}

func absent(t *testing.T, s kv.Store) {
	wantValue(t, s, "nobody", nil)
	wantKeys(t, s, nil, nil)
	put(t, s, "a")
	wantValue(t, s, "nobody", nil)
}

func putGet(t *testing.T, s kv.Store) {
	update(t, s, func(tx kv.Tx) error {
		if err := tx.Put(table, []byte("a"), []byte("va")); err != nil {
			return err
		}
		got, err := tx.Get(table, []byte("a"))
		if string(got) != "va" {
			t.Errorf("own write reads as %q", got)
		}
		keys, err2 := collect(tx.Scan(table, nil, nil))
		if !slices.Equal(keys, []string{"a"}) {
			t.Errorf("own write scans as %q", keys)
		}
		return errors.Join(err, err2)
	})
	wantValue(t, s, "a", []byte("va"))
	update(t, s, func(tx kv.Tx) error { return tx.Put(table, []byte("a"), []byte("other")) })
	wantValue(t, s, "a", []byte("other"))
	update(t, s, func(tx kv.Tx) error { return tx.Delete(table, []byte("a")) })
	wantValue(t, s, "a", nil)
}

func failedUpdate(t *testing.T, s kv.Store) {
	put(t, s, "before")
	stop := errors.New("stop")
	err := s.Update(t.Context(), func(tx kv.Tx) error {
		return errors.Join(tx.Put(table, []byte("k"), []byte("vk")), tx.Delete(table, []byte("before")), stop)
	})
	if !errors.Is(err, stop) {
		t.Fatalf("Update = %v, want the function's error", err)
	}
	wantKeys(t, s, nil, nil, "before")
}

func panicking(t *testing.T, s kv.Store) {
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic of the function did not reach its caller")
			}
		}()
		_ = s.Update(t.Context(), func(tx kv.Tx) error {
			if err := tx.Put(table, []byte("k"), []byte("vk")); err != nil {
				return err
			}
			panic("a mistake")
		})
	}()
	put(t, s, "after")
	wantKeys(t, s, nil, nil, "after")
}

func emptyValues(t *testing.T, s kv.Store) {
	put(t, s, "k")
	for _, v := range [][]byte{nil, {}} {
		err := s.Update(t.Context(), func(tx kv.Tx) error { return tx.Put(table, []byte("k"), v) })
		if !errors.Is(err, kv.ErrEmptyValue) {
			t.Errorf("Put of an empty value = %v", err)
		}
	}
	wantValue(t, s, "k", []byte("vk"))
	for _, k := range [][]byte{nil, {}} {
		err := s.Update(t.Context(), func(tx kv.Tx) error { return tx.Put(table, k, []byte("v")) })
		if !errors.Is(err, kv.ErrEmptyKey) {
			t.Errorf("Put of an empty key = %v", err)
		}
	}
	wantValue(t, s, "", nil)
	wantKeys(t, s, nil, nil, "k")
}

func writeWhileScanning(t *testing.T, s kv.Store) {
	put(t, s, "a", "b", "c")
	update(t, s, func(tx kv.Tx) error {
		var found [][]byte
		for e, err := range tx.Scan(table, nil, nil) {
			if err != nil {
				return err
			}
			found = append(found, bytes.Clone(e.Key))
			for _, err := range []error{tx.Delete(table, e.Key), tx.Put(table, []byte("x"), []byte("vx")), tx.Drop(table)} {
				if !errors.Is(err, kv.ErrScanning) {
					t.Errorf("a write during the scan = %v", err)
				}
			}
			if err := tx.Put("kvtest.other", []byte("k"), []byte("v")); err != nil {
				t.Errorf("a write to another table during the scan = %v", err)
			}
		}
		if len(found) != 3 {
			t.Errorf("the scan gave %q", found)
		}
		for _, k := range found { // collected first, then deleted: nothing is skipped
			if err := tx.Delete(table, k); err != nil {
				return err
			}
		}
		return nil
	})
	wantKeys(t, s, nil, nil)
}

func deleteAbsent(t *testing.T, s kv.Store) {
	update(t, s, func(tx kv.Tx) error {
		return errors.Join(tx.Delete(table, []byte("nobody")), tx.Drop(table))
	})
	put(t, s, "a")
	update(t, s, func(tx kv.Tx) error { return tx.Delete(table, []byte("nobody")) })
	wantKeys(t, s, nil, nil, "a")
}

func drop(t *testing.T, s kv.Store) {
	put(t, s, "a", "b")
	update(t, s, func(tx kv.Tx) error { return tx.Put("kvtest.other", []byte("k"), []byte("v")) })
	update(t, s, func(tx kv.Tx) error {
		if err := errors.Join(tx.Drop(table), tx.Put(table, []byte("c"), []byte("vc"))); err != nil {
			return err
		}
		got, err := tx.Get(table, []byte("a"))
		if got != nil {
			t.Error("a dropped table still has its keys in the transaction")
		}
		return err
	})
	wantKeys(t, s, nil, nil, "c")
	view(t, s, func(r kv.Reader) error {
		got, err := r.Get("kvtest.other", []byte("k"))
		if string(got) != "v" {
			t.Errorf("the other table has %q", got)
		}
		return err
	})
}

func slicesNotKept(t *testing.T, s kv.Store) {
	update(t, s, func(tx kv.Tx) error {
		k, v := []byte("k1"), []byte("vk1")
		for i := range 3 {
			k[1], v[2] = byte('1'+i), byte('1'+i)
			if err := tx.Put(table, k, v); err != nil {
				return err
			}
		}
		clear(k)
		clear(v)
		return nil
	})
	wantKeys(t, s, nil, nil, "k1", "k2", "k3")
}

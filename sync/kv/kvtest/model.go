package kvtest

import (
	"bytes"
	"errors"
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thudbook/sync/kv"
)

// model runs random transactions on a store and on a map and compares them.
func model(t *testing.T, open func(testing.TB) kv.Store) {
	s := open(t)
	stop := errors.New("stop")
	rapid.Check(t, func(rt *rapid.T) {
		clearTable(rt, t, s)
		want := map[string]string{}
		key := rapid.SliceOfN(rapid.SampledFrom([]byte{0, 1, 'a', '|', 0x7f, 0x80, 0xff}), 1, 3)
		rt.Repeat(map[string]func(*rapid.T){
			"update": func(rt *rapid.T) {
				next := maps.Clone(want)
				fail := rapid.Bool().Draw(rt, "fail")
				var steps []func(kv.Tx) error
				for range rapid.IntRange(1, 6).Draw(rt, "steps") {
					k := key.Draw(rt, "key")
					if rapid.Bool().Draw(rt, "delete") {
						delete(next, string(k))
						steps = append(steps, func(tx kv.Tx) error { return tx.Delete(table, k) })
						continue
					}
					v := rapid.SliceOfN(rapid.Byte(), 1, 4).Draw(rt, "value")
					next[string(k)] = string(v)
					steps = append(steps, func(tx kv.Tx) error { return tx.Put(table, k, v) })
				}
				err := s.Update(t.Context(), func(tx kv.Tx) error {
					for _, step := range steps {
						if err := step(tx); err != nil {
							return err
						}
					}
					if fail {
						return stop
					}
					return nil
				})
				if fail != errors.Is(err, stop) || !fail && err != nil {
					rt.Fatalf("Update = %v", err)
				}
				if !fail {
					want = next
				}
			},
			"range": func(rt *rapid.T) {
				from, to := key.Draw(rt, "from"), key.Draw(rt, "to")
				compare(rt, t, s, want, from, to)
			},
			"": func(rt *rapid.T) { compare(rt, t, s, want, nil, nil) },
		})
	})
}

func clearTable(rt *rapid.T, t *testing.T, s kv.Store) {
	if err := s.Update(t.Context(), func(tx kv.Tx) error { return tx.Drop(table) }); err != nil {
		rt.Fatalf("Drop: %v", err)
	}
}

func compare(rt *rapid.T, t *testing.T, s kv.Store, want map[string]string, from, to []byte) {
	var keys []string
	for _, k := range slices.Sorted(maps.Keys(want)) {
		if bytes.Compare([]byte(k), from) >= 0 && (to == nil || bytes.Compare([]byte(k), to) < 0) {
			keys = append(keys, k)
		}
	}
	err := s.View(t.Context(), func(r kv.Reader) error {
		var got, back []string
		for e, err := range r.Scan(table, from, to) {
			if err != nil {
				return err
			}
			if string(e.Value) != want[string(e.Key)] {
				rt.Fatalf("key %q has %q, want %q", e.Key, e.Value, want[string(e.Key)])
			}
			got = append(got, string(e.Key))
		}
		for e, err := range r.ScanBack(table, from, to) {
			if err != nil {
				return err
			}
			back = append(back, string(e.Key))
		}
		slices.Reverse(back)
		if !slices.Equal(got, keys) || !slices.Equal(back, keys) {
			rt.Fatalf("from %q to %q: forward %q, back %q, want %q", from, to, got, back, keys)
		}
		return nil
	})
	if err != nil {
		rt.Fatalf("View: %v", err)
	}
}

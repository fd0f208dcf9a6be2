package index_test

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/kv/index"
)

// item is a small value with an index of no, one or several keys and tallies.
type item struct {
	ID     string   `json:"id"`
	Colour string   `json:"colour,omitempty"`
	Tags   []string `json:"tags,omitempty"`
	N      int64    `json:"n"`
}

func items() *index.Table[item] {
	return &index.Table[item]{
		Name: "items",
		Key:  func(v *item) []byte { return []byte(v.ID) },
		Indexes: []index.Index[item]{
			{Name: "tag", Keys: func(v *item) (keys [][]byte) {
				for _, s := range v.Tags {
					keys = append(keys, []byte(s))
				}
				return keys
			}},
			{Name: "n", Keys: func(v *item) [][]byte { return [][]byte{kv.I64(v.N)} }},
		},
		Tallies: []index.Tally[item]{
			{Name: "colour", Of: func(v *item) []index.Count {
				return []index.Count{{Key: []byte(v.Colour), N: 1}, {Key: []byte("all"), N: v.N}}
			}},
		},
	}
}

func open(t testing.TB) kv.Store {
	t.Helper()
	s, err := boltkv.Open(filepath.Join(t.TempDir(), "store"), boltkv.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}

// Random puts, replacements and deletions agree with a plain map, and the
// tables equal, byte for byte, those made from the end state alone.
func TestAgreesWithAMap(t *testing.T) {
	s, again := open(t), open(t)
	table := items()
	rapid.Check(t, func(rt *rapid.T) {
		want := map[string]item{}
		dropAll(rt, t, s, table)
		word := rapid.SampledFrom([]string{"", "a", "a\x00", "a\x00\x01", "ab", "b", "\xc3\xa4", "all"})
		id := rapid.SampledFrom([]string{"1", "2", "3", "3\x00", "\x00\x01"})
		rt.Repeat(map[string]func(*rapid.T){
			"write": func(rt *rapid.T) {
				var steps []func(kv.Tx) error
				for range rapid.IntRange(1, 8).Draw(rt, "steps") {
					v := item{ID: id.Draw(rt, "id"), Colour: word.Draw(rt, "colour"), Tags: rapid.SliceOfN(word, 1, 3).Draw(rt, "tags"), N: rapid.Int64Range(-3, 3).Draw(rt, "n")}
					if rapid.IntRange(0, 3).Draw(rt, "delete") == 0 {
						delete(want, v.ID)
						steps = append(steps, func(tx kv.Tx) error { return table.Delete(tx, []byte(v.ID)) })
						continue
					}
					want[v.ID] = v
					steps = append(steps, func(tx kv.Tx) error { return table.Put(tx, &v) })
				}
				update(rt, t, s, func(tx kv.Tx) error {
					for _, step := range steps {
						if err := step(tx); err != nil {
							return err
						}
					}
					return nil
				})
			},
			"": func(rt *rapid.T) { checkAll(rt, t, s, table, want) },
		})
		dropAll(rt, t, again, table)
		update(rt, t, again, func(tx kv.Tx) error {
			for _, v := range want {
				if err := table.Put(tx, &v); err != nil {
					return err
				}
			}
			return nil
		})
		if d := compare(rt, t, s, again, table); len(d) > 0 {
			rt.Fatalf("not equal to the same values put in afresh: %v", d)
		}
	})
}

func update(rt *rapid.T, t *testing.T, s kv.Store, fn func(kv.Tx) error) {
	if err := s.Update(t.Context(), fn); err != nil {
		rt.Fatalf("Update: %v", err)
	}
}

func dropAll(rt *rapid.T, t *testing.T, s kv.Store, table *index.Table[item]) {
	update(rt, t, s, func(tx kv.Tx) error {
		for _, name := range table.Tables() {
			if err := tx.Drop(name); err != nil {
				return err
			}
		}
		return nil
	})
}

func compare(rt *rapid.T, t *testing.T, a, b kv.Store, table *index.Table[item]) (d []index.Difference) {
	err := a.View(t.Context(), func(ra kv.Reader) error {
		return b.View(t.Context(), func(rb kv.Reader) (err error) {
			d, err = index.Compare(ra, rb, table.Tables()...)
			return err
		})
	})
	if err != nil {
		rt.Fatalf("Compare: %v", err)
	}
	return d
}

// entry is one index entry of the model.
type entry struct{ key, id string }

func checkAll(rt *rapid.T, t *testing.T, s kv.Store, table *index.Table[item], want map[string]item) {
	var tags []entry
	sums := map[string]int64{}
	for _, v := range want {
		for _, tag := range v.Tags {
			if e := (entry{tag, v.ID}); !slices.Contains(tags, e) {
				tags = append(tags, e)
			}
		}
		sums[v.Colour]++
		sums["all"] += v.N
	}
	slices.SortFunc(tags, func(a, b entry) int { return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.id, b.id)) })
	err := s.View(t.Context(), func(r kv.Reader) error {
		for id, v := range want {
			got, ok, err := table.Get(r, []byte(id))
			if err != nil || !ok || fmt.Sprint(*got) != fmt.Sprint(v) {
				rt.Fatalf("Get(%q) = %v, %v, %v, want %v", id, got, ok, err, v)
			}
		}
		ids, err := names(table.Scan(r, nil, nil, false))
		if w := slices.Sorted(maps.Keys(want)); err != nil || !slices.Equal(ids, w) {
			rt.Fatalf("Scan = %q, %v, want %q", ids, err, w)
		}
		for _, from := range []string{"", "a", "a\x00", "b"} {
			for _, to := range []string{"a\x00", "ab", "zz"} {
				var w []string
				for _, e := range tags {
					if e.key >= from && e.key < to {
						w = append(w, e.id)
					}
				}
				got, err := names(table.ScanIndex(r, "tag", []byte(from), []byte(to), false))
				if err != nil || !slices.Equal(got, w) {
					rt.Fatalf("ScanIndex(%q, %q) = %q, %v, want %q", from, to, got, err, w)
				}
				slices.Reverse(w)
				got, err = names(table.ScanIndex(r, "tag", []byte(from), []byte(to), true))
				if err != nil || !slices.Equal(got, w) {
					rt.Fatalf("ScanIndex back (%q, %q) = %q, %v, want %q", from, to, got, err, w)
				}
			}
		}
		var sum int64
		for k, n := range sums {
			if got, err := table.Count(r, "colour", []byte(k)); err != nil || got != n {
				rt.Fatalf("Count(%q) = %d, %v, want %d", k, got, err, n)
			}
			sum += n
		}
		if got, err := table.SumRange(r, "colour", nil, nil); err != nil || got != sum {
			rt.Fatalf("SumRange = %d, %v, want %d", got, err, sum)
		}
		for c, err := range table.ScanTally(r, "colour", nil, nil, false) {
			if err != nil || c.N == 0 || c.N != sums[string(c.Key)] {
				rt.Fatalf("ScanTally gives %q %d, %v, want %d", c.Key, c.N, err, sums[string(c.Key)])
			}
		}
		return nil
	})
	if err != nil {
		rt.Fatalf("View: %v", err)
	}
}

func names(values func(func(*item, error) bool)) (ids []string, err error) {
	for v, err := range values {
		if err != nil {
			return ids, err
		}
		ids = append(ids, v.ID)
	}
	return ids, nil
}

func TestCompareNamesTheFirstDifference(t *testing.T) {
	put := func(s kv.Store, table kv.Table, keys ...string) {
		err := s.Update(t.Context(), func(tx kv.Tx) error {
			for _, k := range keys {
				if err := tx.Put(table, []byte(k[:1]), []byte(k)); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	a, b := open(t), open(t)
	put(a, "same", "a", "b")
	put(b, "same", "a", "b")
	put(a, "value", "a", "b", "c")
	put(b, "value", "a", "bx", "cx")
	put(a, "first", "a", "b", "c")
	put(b, "first", "a", "c")
	put(a, "second", "a")
	put(b, "second", "a", "z")
	put(b, "all", "q")
	err := a.View(t.Context(), func(ra kv.Reader) error {
		return b.View(t.Context(), func(rb kv.Reader) error {
			d, err := index.Compare(ra, rb, "same", "value", "first", "second", "all", "none")
			var got []string
			for _, x := range d {
				got = append(got, fmt.Sprintf("%s %s %q %q", x.Table, x.Key, x.A, x.B))
				if !strings.Contains(x.String(), string(x.Table)) {
					t.Errorf("String does not name the table: %s", x)
				}
			}
			want := []string{`value b "b" "bx"`, `first b "b" ""`, `second z "" "z"`, `all q "" "q"`}
			if !slices.Equal(got, want) {
				t.Errorf("Compare = %q, want %q", got, want)
			}
			return err
		})
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestDamagedValueNamesTableAndKey(t *testing.T) {
	s := open(t)
	table := items()
	err := s.Update(t.Context(), func(tx kv.Tx) error {
		if err := table.Put(tx, &item{ID: "good"}); err != nil {
			return err
		}
		return tx.Put("items", []byte("bad"), []byte{1, 0xff})
	})
	if err != nil {
		t.Fatal(err)
	}
	err = s.View(t.Context(), func(r kv.Reader) error {
		_, _, err := table.Get(r, []byte("bad"))
		if err == nil || !strings.Contains(err.Error(), "items") || !strings.Contains(err.Error(), fmt.Sprintf("%x", "bad")) {
			t.Errorf("Get = %v", err)
		}
		_, err = names(table.Scan(r, nil, nil, false))
		if err == nil {
			t.Error("Scan passes over it")
		}
		v, err := r.Get("items", []byte("good"))
		if !bytes.HasPrefix(v, []byte{1}) {
			t.Errorf("the value %x has no version byte", v)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

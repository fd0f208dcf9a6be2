package kvtest

import (
	"iter"
	"slices"
	"testing"

	"thudbook/sync/kv"
)

// byteOrder has keys that text collations, escapes and signed bytes get wrong.
func byteOrder(t *testing.T, s kv.Store) {
	keys := []string{"\x00", "\x00\x00", "\x00\xff", "\x01", "A", "B", "a", "a\x00", "ab", "a|", "a|b", "b", "z", "|", "\x7f", "\x80", "\xc3\xa4", "\xff", "\xff\x00", "\xff\xff"}
	if !slices.IsSorted(keys) {
		t.Fatal("the list of keys must be in byte order")
	}
	shuffled := slices.Clone(keys)
	slices.Reverse(shuffled)
	put(t, s, shuffled...)
	wantKeys(t, s, nil, nil, keys...)
	wantKeys(t, s, []byte("a|"), kv.PrefixEnd([]byte("a|")), "a|", "a|b")
	wantKeys(t, s, []byte("\xff"), kv.PrefixEnd([]byte("\xff")), "\xff", "\xff\x00", "\xff\xff")
	wantKeys(t, s, []byte("\x00"), kv.PrefixEnd([]byte("\x00")), "\x00", "\x00\x00", "\x00\xff")
	for _, k := range keys {
		wantValue(t, s, k, []byte("v"+k))
	}
}

func bounds(t *testing.T, s kv.Store) {
	put(t, s, "b", "d", "f")
	wantKeys(t, s, []byte("b"), []byte("f"), "b", "d")
	wantKeys(t, s, []byte("a"), []byte("g"), "b", "d", "f")
	wantKeys(t, s, []byte("c"), []byte("e"), "d")
	wantKeys(t, s, []byte("c"), nil, "d", "f")
	wantKeys(t, s, nil, []byte("d"), "b")
	wantKeys(t, s, []byte("g"), nil)
	wantKeys(t, s, nil, []byte("a"))
	wantKeys(t, s, []byte("d"), []byte("d"))
	wantKeys(t, s, []byte("f"), []byte("b"))
}

func earlyEnd(t *testing.T, s kv.Store) {
	put(t, s, "a", "b", "c")
	view(t, s, func(r kv.Reader) error {
		for _, scan := range []iter.Seq2[kv.Entry, error]{r.Scan(table, nil, nil), r.ScanBack(table, nil, nil)} {
			n := 0
			for range scan {
				if n++; n == 2 {
					break
				}
			}
			if n != 2 {
				t.Errorf("the loop ran %d times", n)
			}
		}
		return nil
	})
}

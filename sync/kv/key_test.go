package kv_test

import (
	"bytes"
	"cmp"
	"testing"

	"pgregory.net/rapid"

	"thudbook/sync/kv"
)

// The order of keys must be the order of values, whatever follows them.
func TestOrderOfKeysIsOrderOfValues(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		a, b := rapid.Uint64().Draw(rt, "a"), rapid.Uint64().Draw(rt, "b")
		if got := bytes.Compare(kv.U64(a), kv.U64(b)); got != cmp.Compare(a, b) {
			rt.Errorf("U64: %d and %d compare as %d", a, b, got)
		}
		i, j := rapid.Int64().Draw(rt, "i"), rapid.Int64().Draw(rt, "j")
		if got := bytes.Compare(kv.I64(i), kv.I64(j)); got != cmp.Compare(i, j) {
			rt.Errorf("I64: %d and %d compare as %d", i, j, got)
		}
		part := rapid.SliceOfN(rapid.SampledFrom([]byte{0, 1, 2, 'a', 0xfe, 0xff}), 0, 4)
		s, u := part.Draw(rt, "s"), part.Draw(rt, "u")
		x, y := kv.Join(kv.Str(s), part.Draw(rt, "x")), kv.Join(kv.Str(u), part.Draw(rt, "y"))
		if want := bytes.Compare(s, u); want != 0 && bytes.Compare(x, y) != want {
			rt.Errorf("Str: %x and %x compare as %d", s, u, bytes.Compare(x, y))
		}
	})
}

func TestPartsComeBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := string(rapid.SliceOf(rapid.Byte()).Draw(rt, "s"))
		n, i := rapid.Uint64().Draw(rt, "n"), rapid.Int64().Draw(rt, "i")
		rest := rapid.SliceOf(rapid.Byte()).Draw(rt, "rest")
		key := kv.Join(kv.Str(s), kv.U64(n), kv.I64(i), rest)
		gotS, key, err1 := kv.CutStr(key)
		gotN, key, err2 := kv.CutU64(key)
		gotI, key, err3 := kv.CutI64(key)
		if err1 != nil || err2 != nil || err3 != nil || gotS != s || gotN != n || gotI != i || !bytes.Equal(key, rest) {
			rt.Errorf("%q %d %d %x came back as %q %d %d %x (%v %v %v)", s, n, i, rest, gotS, gotN, gotI, key, err1, err2, err3)
		}
	})
	for _, bad := range []string{"", "a", "a\x00", "a\x00\x02", "\x00\xff"} {
		if s, _, err := kv.CutStr([]byte(bad)); err == nil {
			t.Errorf("CutStr(%q) = %q", bad, s)
		}
	}
	if _, _, err := kv.CutU64([]byte("1234567")); err == nil {
		t.Error("CutU64 of seven bytes accepts them")
	}
}

func TestPrefixEnd(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		part := rapid.SliceOfN(rapid.SampledFrom([]byte{0, 'a', 0xfe, 0xff}), 0, 4)
		prefix, key := part.Draw(rt, "prefix"), part.Draw(rt, "key")
		end := kv.PrefixEnd(prefix)
		in := bytes.Compare(key, prefix) >= 0 && (end == nil || bytes.Compare(key, end) < 0)
		if in != bytes.HasPrefix(key, prefix) {
			rt.Errorf("prefix %x ends at %x: key %x is in: %v", prefix, end, key, in)
		}
	})
}

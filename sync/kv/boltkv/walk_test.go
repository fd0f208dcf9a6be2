package boltkv_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
)

// A meta page whose check sum is wrong is passed over: what the other one knows
// is reached.
func TestPagesAreReachedByTheGoodMetaPage(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	s := open(t, path)
	fill(t, s, 50)
	fill(t, s, 50)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	count := func(b []byte) (n int) {
		t.Helper()
		at := filepath.Join(t.TempDir(), "store")
		if err := os.WriteFile(at, b, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := boltkv.Circle(at, func(table kv.Table, _, _ []byte) {
			if table == "t" {
				n++
			}
		}); err != nil {
			t.Error(err)
		}
		return n
	}
	want := count(good)
	if want < 50 {
		t.Fatalf("%d entries are reached in a good file", want)
	}
	for meta := range 2 {
		bad := bytes.Clone(good)
		at := meta*os.Getpagesize() + 16 // behind the header of the page
		bad[at+16] ^= 0x3f               // the root
		bad[at+48+6] ^= 1                // the transaction: now the newest by far
		if n := count(bad); n != want {
			t.Errorf("with meta page %d damaged %d entries are reached, want %d", meta, n, want)
		}
	}
}

package boltkv_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/kv/kvtest"
	"thudbook/sync/problem"
)

func open(t testing.TB, path string) *boltkv.Store {
	t.Helper()
	s, err := boltkv.Open(path, boltkv.Options{})
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}

func TestConformance(t *testing.T) {
	kvtest.Run(t, func(t testing.TB) kv.Store { return open(t, filepath.Join(t.TempDir(), "store")) })
}

// The wrapper that other packages test with must keep the contract too, and
// spoil what is kept beyond the transaction.
func TestConformanceScrambled(t *testing.T) {
	kvtest.Run(t, func(t testing.TB) kv.Store {
		return kvtest.Scrambled(open(t, filepath.Join(t.TempDir(), "store")))
	})
	s := kvtest.Scrambled(open(t, filepath.Join(t.TempDir(), "store")))
	fill(t, s, 1)
	var kept []byte
	err := s.View(t.Context(), func(r kv.Reader) (err error) {
		kept, err = r.Get("t", kv.U64(0))
		return err
	})
	if err != nil || len(kept) != 600 || kept[1] != 0xdb {
		t.Errorf("a value kept beyond its transaction: %d bytes, %v", len(kept), err)
	}
}

func fill(t *testing.T, s kv.Store, n int) {
	t.Helper()
	err := s.Update(t.Context(), func(tx kv.Tx) error {
		for i := range n {
			if err := tx.Put("t", kv.U64(uint64(i)), bytes.Repeat([]byte{byte(i), 1}, 300)); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatalf("Update: %v", err)
	}
}

func read(t *testing.T, s kv.Store) (n int, err error) {
	t.Helper()
	err = s.View(t.Context(), func(r kv.Reader) error {
		for e, err := range r.Scan("t", nil, nil) {
			if err != nil {
				return err
			}
			if len(e.Value) > 0 {
				n++
			}
			if n > 100_000 { // a damaged file may lead in circles
				return nil
			}
		}
		return nil
	})
	return n, err
}

func TestReopenKeepsWhatWasCommitted(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	s := open(t, path)
	fill(t, s, 10)
	if err := s.Reopen(t.Context()); err != nil {
		t.Fatalf("Reopen: %v", err)
	}
	fill(t, s, 20)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if n, err := read(t, open(t, path)); n != 20 || err != nil {
		t.Errorf("read %d entries, %v, want 20", n, err)
	}
}

// L7: at the final path there is never a file that cannot be opened because of
// creation: what is there is a whole store, and no part is left beside it.
func TestCreationLeavesOneWholeFile(t *testing.T) {
	dir := t.TempDir()
	old := filepath.Join(dir, "store.new-LEFTOVER")
	if err := os.WriteFile(old, []byte("torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	past := time.Now().Add(-2 * time.Hour)
	if err := os.Chtimes(old, past, past); err != nil {
		t.Fatal(err)
	}
	open(t, filepath.Join(dir, "store"))
	names, err := os.ReadDir(dir)
	if err != nil || len(names) != 1 || names[0].Name() != "store" {
		t.Errorf("the folder holds %v, %v, want the store alone", names, err)
	}
}

// L12: a second opening fails with a clear message, after the seconds that the
// lock is waited for. The bound ends a hang; it leaves a busy machine its time.
func TestSecondOpenIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	open(t, path)
	start := time.Now()
	_, err := boltkv.Open(path, boltkv.Options{})
	if !errors.Is(err, kv.ErrLocked) || problem.Of(err) != problem.Unavailable {
		t.Errorf("second Open = %v, want ErrLocked", err)
	}
	if took := time.Since(start); took > time.Minute {
		t.Errorf("it took %v", took)
	}
}

func TestOpenRefusesWhatIsNoStore(t *testing.T) {
	dir := t.TempDir()
	foreign := filepath.Join(dir, "foreign")
	db, err := bolt.Open(foreign, 0o600, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string]string{
		"empty": "", "short": "x", "text": strings.Repeat("this is not a store\n", 5000), "zeros": strings.Repeat("\x00", 1<<16),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"empty", "short", "text", "zeros", "foreign"} {
		path := filepath.Join(dir, name)
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if s, err := boltkv.Open(path, boltkv.Options{}); err == nil || problem.Of(err) != problem.Damaged {
			t.Errorf("%s: Open = %v, %v, want a problem with code damaged", name, s, err)
		}
		if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
			t.Errorf("%s: the file was changed (%v)", name, err)
		}
	}
	if _, err := boltkv.Open(filepath.Join(dir, "no", "folder"), boltkv.Options{}); problem.Of(err) != problem.Unavailable {
		t.Errorf("Open in no folder = %v", err)
	}
}

// A damaged file gives problems, never a dead process, and stays as it is.
func TestDamageIsAProblem(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	s := open(t, path)
	fill(t, s, 200)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rnd := rand.New(rand.NewPCG(1, 2))
	page := os.Getpagesize()
	for i := range 40 {
		bad := bytes.Clone(good)
		at := rnd.IntN(len(bad) / page)
		// The first bytes of a page hold its kind, count and overflow.
		what := fmt.Sprintf("zero page %d", at)
		if i%2 == 0 {
			clear(bad[at*page : (at+1)*page])
		} else {
			off := at*page + rnd.IntN(64)
			bad[off] ^= 1 << rnd.IntN(8)
			what = fmt.Sprintf("flip a bit at %d", off)
		}
		damaged := filepath.Join(t.TempDir(), "store")
		if err := os.WriteFile(damaged, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := boltkv.Open(damaged, boltkv.Options{})
		if err != nil {
			if c := problem.Of(err); c != problem.Damaged && c != problem.Unavailable {
				t.Errorf("%s: Open = %v", what, err)
			}
			continue
		}
		if _, err := read(t, s); err != nil && problem.Of(err) != problem.Damaged {
			t.Errorf("%s: View = %v", what, err)
		}
		if err := s.Close(); err != nil {
			t.Logf("%s: Close: %v", what, err)
		}
	}
}

// A file cut short under an open store is met as a fault of the memory map.
func TestFileCutShort(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	s := open(t, path)
	fill(t, s, 500)
	if err := os.Truncate(path, int64(4*os.Getpagesize())); err != nil {
		t.Fatal(err)
	}
	if n, err := read(t, s); problem.Of(err) != problem.Damaged {
		t.Errorf("read %d entries, %v, want a problem with code damaged", n, err)
	}
	err := s.Update(t.Context(), func(tx kv.Tx) error {
		for i := range 500 {
			if _, err := tx.Get("t", kv.U64(uint64(i))); err != nil {
				return err
			}
		}
		return nil
	})
	if problem.Of(err) != problem.Damaged {
		t.Errorf("Update = %v, want a problem with code damaged", err)
	}
}

// L6: after a commit that failed, nothing is read or written on the handle
// until it is opened again; what was committed before is still there.
func TestFailedCommitStopsTheStore(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	const limit = 1 << 20
	s, err := boltkv.Open(path, boltkv.Options{MaxSize: limit})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	}()
	n := 0
	for ; n < 10_000; n++ {
		err = s.Update(t.Context(), func(tx kv.Tx) error {
			return tx.Put("t", kv.U64(uint64(n)), bytes.Repeat([]byte{1}, 30_000))
		})
		if err != nil {
			break
		}
	}
	if !errors.Is(err, kv.ErrUnknown) {
		t.Fatalf("growing beyond the limit = %v, want ErrUnknown", err)
	}
	if !s.Stats().Faulted {
		t.Error("the store does not say that it stopped")
	}
	ran := false
	err = s.Update(t.Context(), func(kv.Tx) error { ran = true; return nil })
	if ran || problem.Of(err) != problem.Unavailable {
		t.Errorf("Update after it = %v, ran %v", err, ran)
	}
	if _, err := read(t, s); problem.Of(err) != problem.Unavailable {
		t.Errorf("View after it = %v", err)
	}
	if err := s.Reopen(t.Context()); err != nil {
		t.Fatalf("Reopen: %v", err)
	}
	if got, err := read(t, s); got != n && got != n+1 || err != nil {
		t.Errorf("after reopening %d entries, %v; %d were committed", got, err, n)
	}
	if err := s.Update(t.Context(), func(tx kv.Tx) error { return tx.Delete("t", kv.U64(0)) }); err != nil {
		t.Errorf("Update after reopening = %v", err)
	}
}

func TestOrderedTablesArePackedTighter(t *testing.T) {
	size := func(ordered ...kv.Table) int64 {
		s, err := boltkv.Open(filepath.Join(t.TempDir(), "store"), boltkv.Options{Ordered: ordered})
		if err != nil {
			t.Fatal(err)
		}
		for page := range 20 {
			err := s.Update(t.Context(), func(tx kv.Tx) error {
				for i := range 500 {
					if err := tx.Put("t", kv.U64(uint64(page*500+i)), bytes.Repeat([]byte{1}, 500)); err != nil {
						return err
					}
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
		}
		var used int64
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		db, err := bolt.Open(s.Path(), 0o600, nil)
		if err != nil {
			t.Fatal(err)
		}
		err = db.View(func(tx *bolt.Tx) error {
			st := tx.Bucket([]byte("t")).Stats()
			used = int64(st.LeafAlloc)
			return nil
		})
		if err := errors.Join(err, db.Close()); err != nil {
			t.Fatal(err)
		}
		return used
	}
	half, packed := size(), size("t")
	t.Logf("leaf pages: %d bytes by default, %d when ordered", half, packed)
	if float64(packed) > 0.7*float64(half) {
		t.Errorf("ordered tables take %d bytes, others %d", packed, half)
	}
}

// A store that cannot be opened again at once stays stopped, says so, and can be
// opened when the file is back.
func TestReopenAgainAndAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, err := boltkv.Open(path, boltkv.Options{})
	if err != nil {
		t.Fatal(err)
	}
	put := func() error {
		return s.Update(t.Context(), func(tx kv.Tx) error { return tx.Put("t", []byte("k"), []byte("v")) })
	}
	if err := put(); err != nil {
		t.Fatal(err)
	}
	away := path + ".away"
	if err := os.Rename(path, away); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := s.Reopen(t.Context()); problem.Of(err) != problem.Unavailable || s.Stopped() == nil {
			t.Fatalf("Reopen without the file = %v, stopped %v", err, s.Stopped())
		}
		if err := put(); problem.Of(err) != problem.Unavailable {
			t.Errorf("Update = %v", err)
		}
	}
	if err := os.Rename(away, path); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.Reopen(t.Context()), put(), s.Stopped()); err != nil {
		t.Errorf("with the file back: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if err := s.Reopen(t.Context()); err == nil {
		t.Error("a closed store was opened again")
	}
}

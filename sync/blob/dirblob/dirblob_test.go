package dirblob_test

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"thudbook/sync/blob"
	"thudbook/sync/blob/blobtest"
	"thudbook/sync/blob/dirblob"
	"thudbook/sync/problem"
)

func open(t testing.TB, dir string) *dirblob.Store {
	t.Helper()
	s, err := dirblob.Open(dir)
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	return s
}

func TestConformance(t *testing.T) {
	blobtest.Run(t, func(t testing.TB) blob.Store { return open(t, filepath.Join(t.TempDir(), "blobs")) })
}

// L8, L9: changed bytes are noticed on reading, stay where they are, and are
// moved to quarantine, not removed, when the good ones come again.
func TestDamagedBytesAreNoticedAndHealed(t *testing.T) {
	s := open(t, t.TempDir())
	good := blobtest.Random(1, 300_000)
	ref, err := s.Put(t.Context(), bytes.NewReader(good), 0)
	if err != nil {
		t.Fatal(err)
	}
	damage := func(name string, change func([]byte) []byte) {
		bad := change(bytes.Clone(good))
		if err := os.WriteFile(s.Path(ref.SHA256), bad, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := s.Verify(t.Context(), ref.SHA256); problem.Of(err) != problem.Damaged {
			t.Errorf("%s: Verify = %v", name, err)
		}
		f, _, err := s.Open(t.Context(), ref.SHA256)
		if err != nil {
			t.Fatal(err)
		}
		_, err = io.ReadAll(f)
		if err := errors.Join(err, f.Close()); problem.Of(err) != problem.Damaged {
			t.Errorf("%s: reading it = %v", name, err)
		}
		if on, err := os.ReadFile(s.Path(ref.SHA256)); err != nil || !bytes.Equal(on, bad) {
			t.Errorf("%s: the file was touched (%v)", name, err)
		}
	}
	inQuarantine := func(want int) {
		t.Helper()
		q, err := s.Quarantined()
		if err != nil || len(q) != want {
			t.Errorf("quarantine holds %v, %v, want %d files", q, err, want)
		}
	}
	damage("a flipped bit", func(b []byte) []byte { b[200_000] ^= 4; return b })
	inQuarantine(0)
	if _, err := s.Put(t.Context(), bytes.NewReader(good), 0); err != nil {
		t.Fatalf("Put over damage = %v", err)
	}
	inQuarantine(1)
	if err := s.Verify(t.Context(), ref.SHA256); err != nil {
		t.Errorf("Verify after healing = %v", err)
	}
	damage("cut short", func(b []byte) []byte { return b[:100] })
	if err := s.PutExpect(t.Context(), ref.SHA256, ref.Size, bytes.NewReader(good)); err != nil {
		t.Fatalf("PutExpect over damage = %v", err)
	}
	inQuarantine(2)
	if err := s.Verify(t.Context(), ref.SHA256); err != nil {
		t.Errorf("Verify after healing = %v", err)
	}
	damage("emptied", func([]byte) []byte { return nil })
}

func TestOpenSweepsOldParts(t *testing.T) {
	dir := t.TempDir()
	open(t, dir)
	for name, age := range map[string]time.Duration{"old": 25 * time.Hour, "new": time.Hour} {
		path := filepath.Join(dir, "part", name)
		if err := os.WriteFile(path, []byte("half"), 0o600); err != nil {
			t.Fatal(err)
		}
		at := time.Now().Add(-age)
		if err := os.Chtimes(path, at, at); err != nil {
			t.Fatal(err)
		}
	}
	open(t, dir)
	names, err := os.ReadDir(filepath.Join(dir, "part"))
	if err != nil || len(names) != 1 || names[0].Name() != "new" {
		t.Errorf("parts left: %v, %v, want the new one", names, err)
	}
}

// A file costs two syncs: its bytes and its folder.
func TestTwoSyncsForAFile(t *testing.T) {
	s := open(t, t.TempDir())
	before := s.Syncs()
	if _, err := s.Put(t.Context(), bytes.NewReader(blobtest.Random(1, 1000)), 0); err != nil {
		t.Fatal(err)
	}
	if n := s.Syncs() - before; n != 2 {
		t.Errorf("storing a file took %d syncs", n)
	}
}

func TestFolderThatIsAFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := dirblob.Open(path); problem.Of(err) != problem.Unavailable {
		t.Errorf("Open = %v", err)
	}
}

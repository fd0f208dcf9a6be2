package durable_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"thudbook/sync/durable"
)

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func want(t *testing.T, path, text string) {
	t.Helper()
	if b, err := os.ReadFile(path); err != nil || string(b) != text {
		t.Errorf("%s holds %q, %v, want %q", filepath.Base(path), b, err, text)
	}
}

// files lists a folder, so that nothing is left lying about.
func files(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

func TestANewNameNeverReplaces(t *testing.T) {
	dir := t.TempDir()
	from, to := filepath.Join(dir, "from"), filepath.Join(dir, "to")
	write(t, from, "new")
	write(t, to, "old")
	if err := durable.RenameNew(from, to); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a taken name gives %v, want that it exists", err)
	}
	want(t, to, "old")
	if err := durable.Create(to, []byte("newer")); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a file of a taken name gives %v, want that it exists", err)
	}
	want(t, to, "old")
	if got := files(t, dir); !slices.Equal(got, []string{"from", "to"}) {
		t.Errorf("left in the folder: %q", got)
	}
	if err := os.Remove(to); err != nil {
		t.Fatal(err)
	}
	if err := durable.RenameNew(from, to); err != nil {
		t.Errorf("a free name: %v", err)
	}
	want(t, to, "new")
}

func TestReplaceIsWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "settings")
	for _, text := range []string{"first", "second", strings.Repeat("x", 100_000)} {
		if err := durable.Replace(path, []byte(text)); err != nil {
			t.Fatal(err)
		}
		want(t, path, text)
	}
	if err := durable.Replace(filepath.Join(dir, "missing", "settings"), nil); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a missing folder gives %v", err)
	}
	if err := os.Mkdir(filepath.Join(dir, "taken"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := durable.Replace(filepath.Join(dir, "taken"), []byte("x")); err == nil {
		t.Error("a folder was replaced by a file")
	}
	if got := files(t, dir); !slices.Equal(got, []string{"settings", "taken"}) {
		t.Errorf("left in the folder: %q", got)
	}
}

// Only one of many gets a name.
func TestOneOfManyGetsTheName(t *testing.T) {
	path := filepath.Join(t.TempDir(), "identity")
	var group sync.WaitGroup
	errs := make([]error, 16)
	for i := range errs {
		group.Go(func() { errs[i] = durable.Create(path, []byte{byte('a' + i)}) })
	}
	group.Wait()
	b, err := os.ReadFile(path)
	if err != nil || len(b) != 1 {
		t.Fatalf("%q, %v", b, err)
	}
	for i, err := range errs {
		if won := byte('a'+i) == b[0]; won != (err == nil) || !won && !errors.Is(err, fs.ErrExist) {
			t.Errorf("writer %d: %v, and the file is of writer %d", i, err, b[0]-'a')
		}
	}
}

// A reader that has a file open for a moment, as a virus scanner does, does not
// make the replacement fail: on Windows it waits.
func TestReplaceBesideAReader(t *testing.T) {
	path := filepath.Join(t.TempDir(), "settings")
	write(t, path, "old")
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	closed := make(chan error, 1)
	time.AfterFunc(100*time.Millisecond, func() { closed <- f.Close() })
	if err := durable.Replace(path, []byte("new")); err != nil {
		t.Errorf("beside a reader: %v", err)
	}
	if err := <-closed; err != nil {
		t.Error(err)
	}
	want(t, path, "new")
}

//go:build unix

package intake_test

import (
	"bytes"
	"crypto/sha256"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"thudbook/agent/intake"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

func (w *world) link(target, name string) {
	w.t.Helper()
	w.must(os.Symlink(target, w.path(name)))
}

// keeps tells whether bytes are in the store, as a source or otherwise.
func (w *world) keeps(text string) bool {
	w.t.Helper()
	has, _, err := w.l.Blobs.Has(w.t.Context(), record.Hash(sha256.Sum256([]byte(text))))
	w.must(err)
	return has
}

func TestLinksOutOfTheFolderAreRefused(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	outside := t.TempDir()
	secret, secretMeta, shared := "a key that the agent may read\n", `{"operator":"from elsewhere"}`, csv(47)
	for name, text := range map[string]string{"key": secret, "key.meta.json": secretMeta, "data.csv": shared} {
		w.must(os.WriteFile(filepath.Join(outside, name), []byte(text), 0o600))
	}
	w.must(os.Mkdir(w.path("sub"), 0o755))
	w.must(os.WriteFile(w.path("sub/inner.csv"), []byte(csv(48)), 0o644))
	up, err := filepath.Rel(w.watch, filepath.Join(outside, "data.csv"))
	w.must(err)

	w.link(filepath.Join(outside, "key"), "absolute.csv")
	w.link(up, "relative.csv")
	w.link("relative.csv", "chain.csv")
	w.link(outside, "folder.csv")
	w.link("/dev/zero", "device.csv")
	w.link("/dev/fd/0", "descriptor.csv")
	w.link("nowhere.csv", "dangling.csv")
	w.link(filepath.Join(outside, "key.meta.json"), "plain.csv.meta.json")
	w.link("sub/inner.csv", "inside.csv")
	w.link(w.path("sub/inner.csv"), "inside-absolute.csv") // the same bytes: seen again
	w.write("plain.csv", csv(49))
	w.must(os.Link(filepath.Join(outside, "data.csv"), w.path("hard.csv")))
	w.start()

	refused := []string{"absolute.csv", "relative.csv", "chain.csv", "folder.csv", "device.csv", "descriptor.csv", "dangling.csv", "plain.csv.meta.json"}
	said := func() map[string]intake.Waiting {
		out := map[string]intake.Waiting{}
		for _, f := range w.in.Folders()[0].Waiting {
			out[f.Name] = f
		}
		return out
	}
	w.until("the ordinary files are taken in and only links wait", func() bool {
		return len(w.shots()) == 3 && len(w.sightings()) == 1 && len(said()) == len(refused)
	})
	for _, name := range refused {
		f, ok := said()[name]
		if !ok || !strings.Contains(f.Why, "link") || !strings.Contains(f.Fix, "Copy the file") || !strings.Contains(f.Fix, "--watch") {
			t.Errorf("%s: on the screen is %+v", name, f)
		}
		if n := strings.Count(w.log.String(), "file="+name+" why="); n != 1 {
			t.Errorf("%s: the log says it %d times, want once", name, n)
		}
	}
	if w.keeps(secret) || w.keeps(secretMeta) {
		t.Error("bytes from outside the watched folder are kept")
	}
	if len(w.quarantine(true)) != 0 {
		t.Errorf("quarantine = %v", w.quarantine(true))
	}
	shots := w.shots()
	if shots["plain.csv"].Shot.Operator != "" {
		t.Error("meta from outside the folder was used")
	}
	if string(w.stored(shots["hard.csv"].Shot.SourceSHA256)) != shared {
		t.Error("a hard link was not taken in like another file")
	}

	// What the message tells to do works.
	w.must(os.Remove(w.path("absolute.csv")))
	w.write("absolute.csv", csv(46))
	w.until("the copied file is taken in", func() bool { return len(w.shots()) == 4 && len(said()) == len(refused)-1 })
}

// A link that comes after the folder was looked at, and before the file is
// opened, is refused by the opening itself; a pipe does not hold it up.
func TestOpeningRefusesWhatCameBetween(t *testing.T) {
	dir, outside := t.TempDir(), filepath.Join(t.TempDir(), "key")
	if err := os.WriteFile(outside, []byte("secret"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, put := range map[string]func(path string) error{
		"link":        func(p string) error { return os.Symlink(outside, p) },
		"folder link": func(p string) error { return os.Symlink(filepath.Dir(outside), p) },
		"device":      func(p string) error { return os.Symlink("/dev/zero", p) },
		"folder":      func(p string) error { return os.Mkdir(p, 0o755) },
		"pipe":        func(p string) error { return syscall.Mkfifo(p, 0o644) },
	} {
		t.Run(name, func(t *testing.T) {
			if err := put(filepath.Join(dir, name)); err != nil {
				t.Fatal(err)
			}
			if b, err := intake.ReadInside(dir, name); err == nil {
				t.Errorf("read %q", b)
			}
		})
	}
	if err := os.WriteFile(filepath.Join(dir, "file"), []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	if b, err := intake.ReadInside(dir, "file"); err != nil || !bytes.Equal(b, []byte("x")) {
		t.Errorf("an ordinary file: %q, %v", b, err)
	}
}

func TestMapThatIsALinkOrAPipe(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	outside := filepath.Join(t.TempDir(), "key.toml")
	text := mapText + "# elsewhere\n"
	w.must(os.WriteFile(outside, []byte(text), 0o600))
	w.must(os.Remove(w.path("map.toml")))
	w.link(outside, "map.toml")
	w.write("a.csv", csv(45))
	w.start()
	w.until("the map's link is named with its fix", func() bool {
		f := w.in.Folders()[0]
		return strings.Contains(f.Problem, "leads out of the watched folder") && strings.Contains(f.Problem, "--map")
	})
	if _, err := w.in.MapForPosts(); err == nil {
		t.Error("posts use a map from outside the folder")
	}
	w.must(os.Remove(w.path("map.toml")))
	w.must(syscall.Mkfifo(w.path("map.toml"), 0o644))
	w.until("the pipe does not hold up the watch", func() bool {
		return strings.Contains(w.in.Folders()[0].Problem, "pipe")
	})
	if w.keeps(text) || len(w.shots()) != 0 {
		t.Error("the map from outside was used")
	}
	w.must(os.Remove(w.path("map.toml")))
	w.write("map.toml", mapText)
	w.until("the shot once there is a map", func() bool { return len(w.shots()) == 1 })
}

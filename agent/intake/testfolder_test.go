package intake_test

import (
	"bytes"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/agent/intake"
	"thudbook/metrics/chanmap"
	"thudbook/metrics/format"
	"thudbook/metrics/format/iso13499"
	"thudbook/sync/lab"
	"thudbook/sync/ledger/ledgertest"
)

// on writes below a folder of the disk.
type on struct{ dir string }

func (o on) Create(name string) (io.WriteCloser, error) {
	path := filepath.Join(o.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, err
	}
	return os.Create(path)
}

// isoTest writes the shot of csv as a folder after ISO/TS 13499, and gives its path.
func isoTest(t *testing.T, dir, name string, peakG float64) string {
	t.Helper()
	m, err := chanmap.Parse(strings.NewReader(mapText), "map.toml")
	if err != nil {
		t.Fatal(err)
	}
	r, err := format.Read(t.Context(), strings.NewReader(csv(peakG)), format.Options{Map: m})
	if err != nil {
		t.Fatal(err)
	}
	if err := iso13499.Write(on{dir}, &r.Recording, iso13499.Meta{Reference: name}); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, name)
}

func packed(t *testing.T, dir string) []byte {
	t.Helper()
	p, err := iso13499.Pack(os.DirFS(dir))
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	b, err := io.ReadAll(p)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A folder that the acquisition writes becomes one shot when it is whole, with its
// meta, once; what is no channel stays where it is and is named; other folders,
// and what links lead to, are let alone.
func TestFolderOfATestBecomesAShot(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	w.must(os.Remove(w.path("map.toml"))) // the channels are guessed by their names
	made := isoTest(t, t.TempDir(), "front-9", 100)
	whole := packed(t, made)
	secret := filepath.Join(t.TempDir(), "secret.txt")
	w.must(os.WriteFile(secret, []byte("not of the rig"), 0o600))
	w.must(os.MkdirAll(w.path("archive/old"), 0o755))
	w.write("archive/notes.txt", "no test")
	w.start()

	// The files come one by one, the header first, with pauses between.
	w.write("front-9.meta.json", `{"specimen":"H-12","location":"front","kind":"shot"}`)
	var names []string
	w.must(filepath.WalkDir(made, func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, relErr := filepath.Rel(made, p)
			names, err = append(names, rel), relErr
		}
		return err
	}))
	for i, name := range names {
		b, err := os.ReadFile(filepath.Join(made, name))
		w.must(err)
		w.must(os.MkdirAll(filepath.Dir(w.path(filepath.Join("front-9", name))), 0o755))
		w.write(filepath.Join("front-9", name), string(b))
		if i == 0 {
			w.write("front-9/film.avi", strings.Repeat("a film ", 200_000))
			w.must(os.Symlink(secret, w.path("front-9/secret.txt")))
		}
	}
	w.until("the folder is a shot", func() bool { return len(w.shots()) > 0 })
	w.settled()
	all := w.shots()
	r, ok := all["front-9.tar"]
	if !ok || len(all) != 1 {
		t.Fatalf("shots %v; log:\n%s", all, w.log)
	}
	if got := w.stored(r.Shot.SourceSHA256); !bytes.Equal(got, whole) || bytes.Contains(got, []byte("not of the rig")) {
		t.Errorf("%d bytes are kept, want the %d of the packed folder", len(got), len(whole))
	}
	if r.Shot.Specimen != "H-12" || r.Shot.Location != "front" || !w.hasFlag(r.ID, lab.FlagLeftOut) {
		t.Errorf("meta %+v, left-out flag %v", r.Shot.Meta, w.hasFlag(r.ID, lab.FlagLeftOut))
	}
	// 100 g and 10 g across it; the filter of the class takes less than 1 % off a 10 ms pulse.
	if got, want := w.score(r.ID).Score.Results["peak_linear_acceleration"].Value, 100*math.Hypot(1, 0.1); math.Abs(got-want) > want/100 {
		t.Errorf("peak = %g g, want %g within 1 %%", got, want)
	}
	w.restart()
	w.settled()
	if n := len(w.shots()); n != 1 || len(w.sightings()) != 0 {
		t.Errorf("after a restart: %d shots, %d sightings", n, len(w.sightings()))
	}
	// A copy of it under another name is the same bytes seen again.
	w.must(os.CopyFS(w.path("copy"), os.DirFS(w.path("front-9"))))
	w.until("the copy is seen", func() bool { return len(w.sightings()) == 1 })
	if n, newest, err := intake.TryFolder(w.watch); err != nil || n != 2 || newest != "copy" {
		t.Errorf("a look at the folder: %d tests, the newest %q, %v", n, newest, err)
	}
	if b, err := intake.Sample(w.watch, "front-9", 1<<20); err != nil || !bytes.Equal(b, whole[:min(len(whole), 1<<20)]) {
		t.Errorf("a sample of it: %d bytes, %v", len(b), err)
	}
}

// A folder whose header cannot be read is kept in quarantine like a file, and one
// that cannot be packed says so and waits.
func TestFolderThatCannotBeRead(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	w.must(os.Remove(w.path("map.toml")))
	w.must(os.Mkdir(w.path("broken"), 0o755))
	w.write("broken/broken.mme", "no header at all")
	w.start()
	w.until("it is in quarantine", func() bool { return len(w.quarantine(true)) == 1 })
	if _, ok := w.quarantine(true)["broken.tar"]; !ok {
		t.Errorf("quarantine %v", w.quarantine(true))
	}
	big := w.path("many")
	w.must(os.Mkdir(big, 0o755))
	w.write("many/many.mme", "header")
	for i := range 10_001 {
		w.must(os.WriteFile(filepath.Join(big, "c"+strings.Repeat("x", i%7)+time.Duration(i).String()+".001"), []byte("1\n"), 0o600))
	}
	w.until("why it waits is on the screen", func() bool {
		for _, f := range w.in.Folders() {
			for _, wait := range f.Waiting {
				if wait.Name == "many" && strings.Contains(wait.Why, "more than") && wait.Fix != "" {
					return true
				}
			}
		}
		return false
	})
}

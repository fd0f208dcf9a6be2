package home_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/care"
	"thudbook/sync/home"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

var testLab = record.LabID(uuid.MustParse("6d7ad8ee-21a5-4b5d-9f4a-6a1c3bd35f01"))

func open(t *testing.T, dir string) *home.Home {
	t.Helper()
	h, err := home.Open(t.Context(), home.Options{Dir: dir, Software: "hometest"})
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func closed(t *testing.T, h *home.Home) {
	t.Helper()
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
}

// write appends records of a kind that no view knows, each with an attachment.
func write(t *testing.T, h *home.Home, lab record.LabID, what string, n int) {
	t.Helper()
	for i := range n {
		if err := writeOne(t.Context(), h, lab, fmt.Sprint(what, i)); err != nil {
			t.Fatal(err)
		}
	}
}

func writeOne(ctx context.Context, h *home.Home, lab record.LabID, what string) error {
	ref, err := h.Blobs.Put(ctx, bytes.NewReader(bytes.Repeat([]byte(what+";"), 200)), 0)
	if err != nil {
		return err
	}
	body, err := record.EncodeBody(map[string]string{"what": what})
	if err != nil {
		return err
	}
	_, err = h.Ledger.Append(ctx, lab, ledger.Draft{Kind: "hometest.fact", Schema: 1, UID: uuid.New(), Body: body,
		Attachments: []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: "source", Media: "text/plain"}}})
	return err
}

// records gives the exact bytes of every record, by origin and number.
func records(t *testing.T, h *home.Home) map[record.Ref]string {
	t.Helper()
	all := make(map[record.Ref]string)
	for r, err := range h.Ledger.All(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		all[record.Ref{Origin: r.Origin(), Seq: r.Seq}] = string(r.Raw)
	}
	return all
}

// verified checks in this process, as the child of the command does.
func verified(ctx context.Context, p home.Place) (care.Class, error) {
	r, err := home.Verify(ctx, p)
	if err != nil {
		return 0, err
	}
	return r.Class(), nil
}

func restore(t *testing.T, from, to string, now time.Time) *home.Restored {
	t.Helper()
	r, err := home.Restore(t.Context(), from, to, now, verified)
	if err != nil {
		t.Fatal(err)
	}
	if r.Class() != care.OK {
		t.Fatalf("restored with class %d: %s", r.Class(), r)
	}
	return r
}

// A running node is backed up through its control file while it writes; what
// comes back is a prefix of what it wrote, whole, and goes on in a new chain.
func TestBackupOfARunningNode(t *testing.T) {
	root := t.TempDir()
	dir, to := filepath.Join(root, "node"), filepath.Join(root, "backup")
	h := open(t, dir)
	write(t, h, testLab, "before", 5)
	run := home.FindRunning(t.Context(), dir)
	if run == nil || run.PID != os.Getpid() {
		t.Fatalf("FindRunning = %+v", run)
	}
	first, err := run.Backup(t.Context(), to)
	if err != nil {
		t.Fatal(err)
	}
	if first.NewAttachments != 5 || first.Manifest.Records != 6 || first.Manifest.Run != 1 {
		t.Errorf("first run: %s", first)
	}
	stop := make(chan struct{})
	done := make(chan struct{})
	go func() {
		defer close(done)
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			default:
				if err := writeOne(t.Context(), h, testLab, fmt.Sprint("meanwhile ", i)); err != nil {
					t.Error(err)
					return
				}
			}
		}
	}()
	for range 4 {
		if _, err := run.Backup(t.Context(), to); err != nil {
			t.Error(err)
		}
	}
	close(stop)
	<-done
	wrote := records(t, h)
	closed(t, h)

	back := filepath.Join(root, "restored")
	restore(t, to, back, time.Now())
	r := open(t, back)
	got := records(t, r)
	if len(got) < 6 || len(got) > len(wrote) {
		t.Errorf("%d of %d records came back", len(got), len(wrote))
	}
	for ref, raw := range got {
		if wrote[ref] != raw {
			t.Errorf("record %d of %s is not what was written", ref.Seq, ref.Origin)
		}
	}
	closed(t, r)
}

// A second run writes what is new, and one with nothing new writes no attachment.
func TestBackupIsIncremental(t *testing.T) {
	root := t.TempDir()
	dir, to := filepath.Join(root, "node"), filepath.Join(root, "backup")
	h := open(t, dir)
	write(t, h, testLab, "first", 40)
	closed(t, h)
	backup := func() *care.BackupReport {
		t.Helper()
		rep, err := home.BackupStopped(t.Context(), dir, to, "hometest")
		if err != nil {
			t.Fatal(err)
		}
		return rep
	}
	full := backup()
	if again := backup(); again.NewPageBytes != 0 || again.NewAttachments != 0 || again.Manifest.Run != 2 {
		t.Errorf("nothing was new, and yet: %s", again)
	}
	h = open(t, dir)
	write(t, h, testLab, "second", 2)
	closed(t, h)
	more := backup()
	if more.NewAttachments != 2 || more.NewPageBytes == 0 || more.Manifest.Records != full.Manifest.Records+2 {
		t.Errorf("two records were new, and yet: %s", more)
	}
}

// I6: each restore goes on in a chain of its own, also for a lab for which
// nothing had been written yet, and also when the clock says nothing.
func TestRestoreNeverUsesANumberTwice(t *testing.T) {
	root := t.TempDir()
	dir, to := filepath.Join(root, "node"), filepath.Join(root, "backup")
	late := record.LabID(uuid.MustParse("0b0f3ad2-52cd-4f6e-8a50-6d0a28f2a902"))
	h := open(t, dir)
	write(t, h, testLab, "before", 3)
	id := h.Node.ID
	closed(t, h)
	if _, err := home.BackupStopped(t.Context(), dir, to, "hometest"); err != nil {
		t.Fatal(err)
	}
	taken := make(map[record.Ref]string)
	use := func(name, dir string) {
		h := open(t, dir)
		if h.Node.ID != id {
			t.Errorf("%s is node %s, want %s", name, h.Node.ID, id)
		}
		write(t, h, testLab, name, 2)
		write(t, h, late, name, 2)
		if o := h.Ledger.Own(late); o.Epoch == 0 {
			t.Errorf("%s: no epoch for %s", name, late)
		}
		for ref, raw := range records(t, h) {
			if old, ok := taken[ref]; ok && old != raw {
				t.Errorf("%s: record %d of %s was written twice", name, ref.Seq, ref.Origin)
			}
			taken[ref] = raw
		}
		closed(t, h)
		if c, err := verified(t.Context(), home.PlaceOf(dir)); c != care.OK || err != nil {
			t.Errorf("%s: verify gives %d, %v", name, c, err)
		}
	}
	use("the machine itself", dir)
	now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	for i, clock := range []time.Time{now, now.Add(time.Minute), time.Unix(0, 0)} {
		back := filepath.Join(root, fmt.Sprint("restored", i))
		if r := restore(t, to, back, clock); len(r.Closed) != 1 || r.Closed[0].Seq != 4 {
			t.Errorf("closed: %v", r.Closed)
		}
		use(fmt.Sprint("restore ", i), back)
	}
}

func TestRestoreRefusesAFullFolder(t *testing.T) {
	root := t.TempDir()
	dir, to := filepath.Join(root, "node"), filepath.Join(root, "backup")
	h := open(t, dir)
	write(t, h, testLab, "x", 1)
	closed(t, h)
	if _, err := home.BackupStopped(t.Context(), dir, to, "hometest"); err != nil {
		t.Fatal(err)
	}
	if _, err := home.Restore(t.Context(), to, dir, time.Now(), verified); problem.Of(err) != problem.Conflict {
		t.Errorf("into the node's own folder: %v", err)
	}
	if _, err := home.Restore(t.Context(), root, filepath.Join(root, "new"), time.Now(), verified); problem.Of(err) != problem.NotFound {
		t.Errorf("from a folder without a backup: %v", err)
	}
	if _, err := home.BackupStopped(t.Context(), dir, filepath.Join(dir, "inside"), "hometest"); problem.Of(err) != problem.Invalid {
		t.Errorf("a backup within the data folder: %v", err)
	}
	other := filepath.Join(root, "other")
	closed(t, open(t, other))
	if _, err := home.BackupStopped(t.Context(), other, to, "hometest"); problem.Of(err) != problem.Invalid {
		t.Errorf("over the backup of another node: %v", err)
	}
}

// A backup that is cut short, wherever, leaves the one before as it was.
func TestInterruptedBackupKeepsTheLast(t *testing.T) {
	root := t.TempDir()
	dir, to := filepath.Join(root, "node"), filepath.Join(root, "backup")
	h := open(t, dir)
	write(t, h, testLab, "kept", 4)
	if _, err := home.FindRunning(t.Context(), dir).Backup(t.Context(), to); err != nil {
		t.Fatal(err)
	}
	want, err := care.ReadManifest(to)
	if err != nil {
		t.Fatal(err)
	}
	write(t, h, testLab, "new", 4)
	for after := range 6 {
		ctx := &endsAfter{Context: t.Context(), left: after * 3}
		_, err := care.Backup(ctx, care.Node{ID: h.Node.ID, Dir: dir, Store: h.Store, Blobs: h.Blobs, Now: time.Now,
			Skip: func(string) bool { return false }}, to)
		if !errors.Is(err, context.Canceled) {
			t.Errorf("cut short after %d looks: %v", after*3, err)
			continue
		}
		got, err := care.ReadManifest(to)
		if err != nil || got.Run != want.Run || got.Check(t.Context(), to) != nil {
			t.Errorf("after %d looks the backup before is not whole: %v", after*3, err)
		}
	}
	closed(t, h)
	back := filepath.Join(root, "restored")
	if r := restore(t, to, back, time.Now()); r.Manifest.Records != 5 {
		t.Errorf("%d records came back, want those of the first backup", r.Manifest.Records)
	}
}

// endsAfter is a context that is cancelled once it was asked so often.
type endsAfter struct {
	context.Context
	left int
}

func (e *endsAfter) Err() error {
	if e.left--; e.left < 0 {
		return context.Canceled
	}
	return nil
}

// A changed byte anywhere in a backup is found, and the place is named.
func TestChangedBackupIsFound(t *testing.T) {
	root := t.TempDir()
	dir, to := filepath.Join(root, "node"), filepath.Join(root, "backup")
	h := open(t, dir)
	write(t, h, testLab, "x", 3)
	closed(t, h)
	if _, err := home.BackupStopped(t.Context(), dir, to, "hometest"); err != nil {
		t.Fatal(err)
	}
	look := func() error {
		m, p, drop, err := home.OpenBackup(t.Context(), to, root)
		if err != nil {
			return err
		}
		defer drop()
		if err := m.Check(t.Context(), to); err != nil {
			return err
		}
		r, err := home.Verify(t.Context(), p)
		if err == nil && r.Class() != care.OK {
			err = problem.New(problem.Damaged, r.String(), "")
		}
		return err
	}
	if err := look(); err != nil {
		t.Fatalf("an untouched backup: %v", err)
	}
	n := 0
	err := filepath.WalkDir(to, func(path string, d os.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() || d.Name() == "thudbook-backup" {
			return err
		}
		good, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, at := range []int{0, len(good) / 2, len(good) - 1} {
			bad := bytes.Clone(good)
			bad[at] ^= 0x20
			if err := os.WriteFile(path, bad, 0o600); err != nil {
				return err
			}
			n++
			if err := look(); problem.Of(err) != problem.Damaged {
				t.Errorf("%s, byte %d: %v", filepath.Base(path), at, err)
			}
		}
		return os.WriteFile(path, good, 0o600)
	})
	if err != nil || n < 12 {
		t.Errorf("%d changes, %v", n, err)
	}
}

// The short look is quiet about a healthy folder and names what is wrong.
func TestExamine(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "node")
	h := open(t, dir)
	write(t, h, testLab, "x", 3)
	e, err := home.FindRunning(t.Context(), dir).Examine(t.Context())
	if err != nil || e.Class() != care.OK || !strings.Contains(e.String(), fmt.Sprintf("process %d", os.Getpid())) {
		t.Errorf("a running node: %v\n%s", err, e)
	}
	closed(t, h)
	if home.FindRunning(t.Context(), dir) != nil {
		t.Error("a closed node is taken for a running one")
	}
	if e, err = home.ExamineStopped(t.Context(), dir); err != nil || e.Class() != care.OK {
		t.Errorf("a stopped node: %v\n%s", err, e)
	}
	if err := os.Remove(filepath.Join(dir, "anchor")); err != nil {
		t.Fatal(err)
	}
	if e, err = home.ExamineStopped(t.Context(), dir); err != nil || e.Class() != care.Forked || !strings.Contains(e.String(), "there is no anchor file") {
		t.Errorf("without its anchor: %v\n%s", err, e)
	}
	if err := os.Truncate(home.StorePath(dir), 100); err != nil {
		t.Fatal(err)
	}
	if e, err = home.ExamineStopped(t.Context(), dir); err != nil || e.Class() != care.Damaged {
		t.Errorf("with a cut store: %v\n%s", err, e)
	}
}

package home_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/sync/care"
	"thudbook/sync/home"
)

// A restore that a person asked for is no roll-back: verify and doctor say in a
// note which chain ended, before the first start and after it. The same store
// put back by hand later on is one.
func TestRestoreOnPurposeIsNoRollBack(t *testing.T) {
	root := t.TempDir()
	dir, to, back := filepath.Join(root, "node"), filepath.Join(root, "backup"), filepath.Join(root, "back")
	h := open(t, dir)
	write(t, h, testLab, "before", 3)
	closed(t, h)
	if _, err := home.BackupStopped(t.Context(), dir, to, "hometest"); err != nil {
		t.Fatal(err)
	}
	restore(t, to, back, time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC))
	want := func(when string, class care.Class, text string) {
		t.Helper()
		r, err := home.Verify(t.Context(), home.PlaceOf(back))
		if err != nil || r.Class() != class || !strings.Contains(r.String(), text) {
			t.Errorf("%s: verify gives %v, want %d and %q\n%s", when, err, class, text, r)
		}
		e, err := home.ExamineStopped(t.Context(), back)
		if err != nil || e.Class() != class || e.Trouble() != (class != care.OK) {
			t.Errorf("%s: doctor gives %v, want %d\n%s", when, err, class, e)
		}
	}
	note := "as a restore asks for: the node was restored from a backup"
	want("just restored", care.OK, note)
	h = open(t, back)
	if e, err := home.FindRunning(context.WithoutCancel(t.Context()), back).Examine(t.Context()); err != nil || e.Class() != care.OK {
		t.Errorf("running: doctor gives %v\n%s", err, e)
	}
	closed(t, h)
	want("started once", care.OK, note)
	early, err := os.ReadFile(home.StorePath(back))
	if err != nil {
		t.Fatal(err)
	}
	h = open(t, back)
	write(t, h, testLab, "after", 2)
	closed(t, h)
	want("written on", care.OK, "continues")
	if err := os.WriteFile(home.StorePath(back), early, 0o600); err != nil {
		t.Fatal(err)
	}
	want("put back by hand", care.Forked, "the store was set back")
}

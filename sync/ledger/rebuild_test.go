package ledger_test

import (
	"errors"
	"testing"

	"thudbook/sync/care"
	"thudbook/sync/kv"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// I5 is checked by every test with views, through verify at its end; here
// rebuilding itself, cut short and by another version.
func TestRebuild(t *testing.T) {
	l := ledgertest.Open(t, ledgertest.Options{Views: notes{}})
	for range 5 {
		add(t, l, labA, "a", "b")
		add(t, l, labB, "c")
	}
	spoil := func() {
		t.Helper()
		err := l.Store.Update(t.Context(), func(tx kv.Tx) error { return tx.Put("test.notes", []byte("zz"), []byte{1}) })
		if err != nil {
			t.Fatal(err)
		}
		if report, err := l.Verify(t.Context()); err != nil || report.Class() != care.Damaged {
			t.Fatalf("verify: %v\n%s", err, report)
		}
	}
	spoil()
	if err := l.Rebuild(t.Context(), notes{}); err != nil {
		t.Fatal(err)
	}
	if report, err := l.Verify(t.Context()); err != nil || report.Class() != care.OK {
		t.Errorf("verify after rebuilding: %v\n%s", err, report)
	}
	spoil()
	if err := l.Rebuild(t.Context(), failing{}); !errors.Is(err, errView) {
		t.Errorf("Rebuild = %v", err)
	}
	if report, err := l.Verify(t.Context()); err != nil || report.Class() != care.Damaged {
		t.Errorf("verify of views cut short: %v\n%s", err, report)
	}
	l.Reopen(t) // finishes it; the cleanup verifies
}

var errView = errors.New("stop")

// failing is a view that stops in the middle.
type failing struct{ notes }

func (f failing) Apply(tx kv.Tx, r *record.Record) error {
	if r.Seq > 3 {
		return errView
	}
	return f.notes.Apply(tx, r)
}

func TestViewsOfAnotherVersionAreRebuilt(t *testing.T) {
	dir := t.TempDir()
	old := ledgertest.Open(t, ledgertest.Options{Dir: dir, Views: notes{version: "1"}})
	add(t, old, labA, "a")
	err := old.Store.Update(t.Context(), func(tx kv.Tx) error { return tx.Put("test.notes", []byte("zz"), []byte{1}) })
	if err != nil {
		t.Fatal(err)
	}
	old.Stop(t)
	l := ledgertest.Open(t, ledgertest.Options{Dir: dir, Views: notes{version: "2"}})
	report, err := l.Verify(t.Context())
	if err != nil || report.Class() != care.OK || report.Tables != 3 {
		t.Errorf("verify: %v\n%s", err, report)
	}
}

// An error of a view undoes the append, whole.
func TestFailingViewUndoesTheAppend(t *testing.T) {
	l := ledgertest.Open(t, ledgertest.Options{Views: failing{}})
	add(t, l, labA, "a", "b")
	if _, err := l.Append(t.Context(), labA, draft("note", "c")); !errors.Is(err, errView) {
		t.Errorf("Append = %v", err)
	}
	if n := len(chain(t, l, l.Own(labA))); n != 3 {
		t.Errorf("the chain has %d records", n)
	}
}

package ledger_test

import (
	"bytes"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"thudbook/sync/care"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// counted counts what is applied, and fails once it is to.
type counted struct {
	notes
	applied *atomic.Int64
	limit   int64 // 0: none
}

func (c counted) Apply(tx kv.Tx, r *record.Record) error {
	if n := c.applied.Add(1); c.limit > 0 && n > c.limit {
		return errView
	}
	return c.notes.Apply(tx, r)
}

const tallies kv.Table = "test.tally"

// tallied counts in the store how often a record was applied.
type tallied struct{ notes }

func (v tallied) Tables() []kv.Table { return append(v.notes.Tables(), tallies) }

func (v tallied) Apply(tx kv.Tx, r *record.Record) error {
	b, err := tx.Get(tallies, r.Hash[:])
	if err != nil {
		return err
	}
	if err := tx.Put(tallies, r.Hash[:], []byte{1 + byte(len(b))}); err != nil {
		return err
	}
	return v.notes.Apply(tx, r)
}

func fill(t *testing.T, dir string, n int) *ledgertest.Ledger {
	t.Helper()
	l := ledgertest.Open(t, ledgertest.Options{Dir: dir, Views: notes{version: "1"}, NoBlobs: true})
	drafts := make([]ledger.Draft, n)
	for i := range drafts {
		drafts[i] = draft("note", "x")
	}
	for _, lab := range []record.LabID{labA, labB} {
		if _, err := l.Append(t.Context(), lab, drafts...); err != nil {
			t.Fatal(err)
		}
	}
	return l
}

// awaitViews waits until nothing is rebuilt any more.
func awaitViews(t *testing.T, l *ledgertest.Ledger) {
	t.Helper()
	for end := time.Now().Add(time.Minute); l.Rebuilding().Running; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("the views are not rebuilt in a minute")
		}
	}
}

// Views of another version are rebuilt while records come in; the screens are
// told, and what comes in meanwhile is in the views too.
func TestRebuildInTheBackground(t *testing.T) {
	dir := t.TempDir()
	fill(t, dir, 700).Stop(t)
	l := ledgertest.Open(t, ledgertest.Options{Dir: dir, Views: tallied{notes{version: "2"}}, NoBlobs: true, RebuildAtOnce: 10})
	if n := l.Notices(); len(n) != 0 { // how far it is changes: it is asked for, and no notice
		t.Errorf("notices %q", n)
	}
	for range 20 {
		add(t, l, labA, "meanwhile")
	}
	awaitViews(t, l)
	if n := l.Notices(); len(n) != 0 {
		t.Errorf("afterwards: notices %q", n)
	}
	if b := l.Rebuilding(); b.Done != b.Total || b.Total < 1402 {
		t.Errorf("at the end %d of %d are read, want all of 1402 or more", b.Done, b.Total)
	}
	n := 0
	err := l.View(t.Context(), func(r kv.Reader) error {
		for e, err := range r.Scan(tallies, nil, nil) {
			if err != nil {
				return err
			}
			if n++; !bytes.Equal(e.Value, []byte{1}) {
				t.Errorf("record %x was applied %d times", e.Key, e.Value)
			}
		}
		return nil
	})
	if err != nil || n != 1422 {
		t.Errorf("%d records were applied, %v, want 1422", n, err)
	}
	if report, err := l.Verify(t.Context()); err != nil || report.Class() != care.OK || report.Records != 1422 {
		t.Errorf("verify: %v\n%s", err, report)
	}
}

// Cut short, by a fault or by the end of the program, it goes on where it was:
// no page is read twice that was committed.
func TestRebuildGoesOnWhereItWas(t *testing.T) {
	dir := t.TempDir()
	fill(t, dir, 700).Stop(t)
	first := counted{notes{version: "2"}, new(atomic.Int64), 950}
	l := ledgertest.Open(t, ledgertest.Options{Dir: dir, Views: first, NoBlobs: true, RebuildAtOnce: 10, Damaged: true})
	awaitViews(t, l)
	if n := l.Notices(); !strings.Contains(strings.Join(n, "\n"), "could not be rebuilt") {
		t.Errorf("notices %q", n)
	}
	err := l.View(t.Context(), func(r kv.Reader) error {
		if ledger.ViewsReady(r) == nil {
			t.Error("views that are half done call themselves ready")
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	l.Stop(t)
	second := counted{notes{version: "2"}, new(atomic.Int64), 0}
	again := ledgertest.Open(t, ledgertest.Options{Dir: dir, Views: second, NoBlobs: true, RebuildAtOnce: 10})
	awaitViews(t, again)
	if n := second.applied.Load(); n == 0 || n > 1402-700 {
		t.Errorf("%d of 1402 records were read again, want at most %d", n, 1402-700)
	}
}

package ledger_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"strings"
	"testing"

	"thudbook/sync/care"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	b, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// wantNewEpoch appends once and checks what the new epoch says of the old one.
func wantNewEpoch(t *testing.T, l *ledgertest.Ledger, old record.Origin, lastSeq uint64, reason string) {
	t.Helper()
	n := l.Notices()
	if len(n) != 1 || !strings.Contains(n[0], old.String()) || !strings.Contains(n[0], reason) {
		t.Errorf("notices %q, want one that names %s and %q", n, old, reason)
	}
	r := add(t, l, old.Lab, "after")[0]
	if r.Seq != 2 || r.Epoch <= old.Epoch {
		t.Fatalf("the next record is %d of epoch %d", r.Seq, r.Epoch)
	}
	var g record.Genesis
	first := chain(t, l, r.Origin())[0]
	if err := record.DecodeBody(first.Body, &g); err != nil || g.Predecessor == nil {
		t.Fatalf("genesis %+v, %v", g, err)
	}
	p := g.Predecessor
	if p.Origin() != old || p.Seq != lastSeq || !strings.Contains(p.Reason, reason) {
		t.Errorf("predecessor %s record %d, %q, want %s record %d, %q", p.Origin(), p.Seq, p.Reason, old, lastSeq, reason)
	}
	if head, err := l.Head(t.Context(), old); err != nil || head.Seq != p.Seq || head.Hash != p.Hash {
		t.Errorf("the closed origin ends with %v, %v; its successor says %d %s", head, err, p.Seq, p.Hash)
	}
	l.Reopen(t)
	if n := l.Notices(); len(n) != 0 {
		t.Errorf("after the next start: notices %q", n)
	}
	if again := add(t, l, old.Lab, "again")[0]; again.Origin() != r.Origin() || again.Seq != 3 {
		t.Errorf("after the next start the record is %d of %s", again.Seq, again.Origin())
	}
}

// L10, I6: a store set back to an earlier copy is seen by the anchor; verify,
// before anything is written, comes to 4.
func TestStoreSetBack(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a", "b")
	add(t, l, labB, "other lab")
	old := l.Own(labA)
	l.Stop(t)
	copyFile(t, l.StorePath(), l.StorePath()+".copy")
	l.Reopen(t)
	add(t, l, labA, "c", "d")
	l.Stop(t)
	copyFile(t, l.StorePath()+".copy", l.StorePath())
	l.Reopen(t)
	report, err := l.Verify(t.Context())
	if err != nil || report.Class() != care.Forked {
		t.Errorf("verify: %v\n%s", err, report)
	}
	wantNewEpoch(t, l, old, 3, "set back: it ends with record 3, the anchor knows record 5")
	if o := l.Own(labB); o.Epoch != 1 {
		t.Errorf("the other lab's origin moved to epoch %d", o.Epoch)
	}
	report, err = l.Verify(t.Context())
	if err != nil || report.Class() != care.OK || len(report.Notes) != 1 {
		t.Errorf("verify after it: %v\n%s", err, report)
	}
}

// The same with verify alone, on files that no ledger opened after the copy.
func TestVerifySeesStoreSetBackByItself(t *testing.T) {
	l := ledgertest.Open(t, ledgertest.Options{Damaged: true})
	add(t, l, labA, "a")
	l.Stop(t)
	copyFile(t, l.StorePath(), l.StorePath()+".copy")
	l.Reopen(t)
	add(t, l, labA, "b")
	l.Stop(t)
	copyFile(t, l.StorePath()+".copy", l.StorePath())
	withStore(t, l, func(s kv.Store) {
		report, err := care.Verify(t.Context(), care.Source{Store: s, Blobs: l.Blobs, Anchor: l.AnchorPath(), Node: l.Node.ID})
		if err != nil || report.Class() != care.Forked || report.Anchored != 1 {
			t.Errorf("verify: %v\n%s", err, report)
		}
	})
}

// Set back twice, over an epoch that the store then knows nothing of.
func TestStoreSetBackOverAnEpoch(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a")
	old := l.Own(labA)
	l.Stop(t)
	copyFile(t, l.StorePath(), l.StorePath()+".copy")
	l.Reopen(t)
	add(t, l, labA, "b")
	l.Stop(t)
	copyFile(t, l.StorePath()+".copy", l.StorePath())
	l.Reopen(t)
	if r := add(t, l, labA, "c")[0]; r.Epoch != 2 {
		t.Fatalf("epoch %d", r.Epoch)
	}
	l.Stop(t)
	copyFile(t, l.StorePath()+".copy", l.StorePath())
	l.Reopen(t)
	wantNewEpoch(t, l, old, 2, "it knows nothing of epoch 2")
	if o := l.Own(labA); o.Epoch != 3 {
		t.Errorf("epoch %d, want 3: epoch 2 was used", o.Epoch)
	}
}

// The store is gone, the anchor is elsewhere.
func TestStoreRemoved(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a")
	old := l.Own(labA)
	l.Stop(t)
	if err := os.Remove(l.StorePath()); err != nil {
		t.Fatal(err)
	}
	l.Reopen(t)
	wantNewEpoch(t, l, old, 0, "it knows nothing of epoch 1")
}

// Without a good anchor nothing proves that the store is the newest.
func TestAnchorGoneOrDamaged(t *testing.T) {
	for name, change := range map[string]func(path string) error{
		"there is no anchor file":    os.Remove,
		"the anchor file is damaged": func(path string) error { return os.WriteFile(path, []byte("rubbish"), 0o600) },
	} {
		t.Run(name, func(t *testing.T) {
			l := ledgertest.Open(t)
			add(t, l, labA, "a", "b")
			old := l.Own(labA)
			l.Stop(t)
			if err := change(l.AnchorPath()); err != nil {
				t.Fatal(err)
			}
			l.Reopen(t)
			wantNewEpoch(t, l, old, 3, name)
		})
	}
}

// A torn write of the anchor spoils one slot; the other is a step older, and
// the store, which is ahead of it, goes on as it is.
func TestTornAnchorWrite(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a")
	add(t, l, labA, "b")
	l.Stop(t)
	good, err := os.ReadFile(l.AnchorPath())
	if err != nil {
		t.Fatal(err)
	}
	second := bytes.LastIndex(good, []byte("thudanc1"))
	if second <= 0 {
		t.Fatal("the anchor file has no second slot")
	}
	for _, at := range []int{0, second} {
		bad := bytes.Clone(good)
		bad[at+40] ^= 1
		if err := os.WriteFile(l.AnchorPath(), bad, 0o600); err != nil {
			t.Fatal(err)
		}
		l.Reopen(t)
		if n := l.Notices(); len(n) != 0 || l.Own(labA).Epoch != 1 {
			t.Errorf("slot at %d: notices %q", at, n)
		}
		l.Stop(t)
	}
	if err := os.WriteFile(l.AnchorPath(), good, 0o600); err != nil {
		t.Fatal(err)
	}
	l.Reopen(t)
}

// A stop between commit and anchor leaves the anchor a step behind: no doubt.
func TestAnchorBehindTheStore(t *testing.T) {
	l := ledgertest.Open(t)
	l.Stop(t)
	copyFile(t, l.AnchorPath(), l.AnchorPath()+".0")
	l.Reopen(t)
	add(t, l, labA, "a")
	l.Stop(t)
	copyFile(t, l.AnchorPath(), l.AnchorPath()+".1")
	l.Reopen(t)
	add(t, l, labA, "b")
	for i, name := range []string{".0", ".1"} {
		l.Stop(t)
		copyFile(t, l.AnchorPath()+name, l.AnchorPath())
		l.Reopen(t)
		if r := add(t, l, labA, "c")[0]; r.Epoch != 1 || r.Seq != uint64(4+i) || len(l.Notices()) != 0 {
			t.Errorf("anchor %s: record %d of epoch %d, notices %q", name, r.Seq, r.Epoch, l.Notices())
		}
	}
}

// Many appends on many labs: the anchor always knows the committed heads.
func TestAnchorKnowsEveryHead(t *testing.T) {
	l := ledgertest.Open(t)
	for i := range 100 {
		lab := labA
		lab[15] = byte(i)
		add(t, l, lab, "x")
	}
	report, err := l.Verify(t.Context())
	if err != nil || report.Class() != care.OK || report.Anchored != 100 {
		t.Errorf("verify: %v\n%s", err, report)
	}
	l.Stop(t)
	withStore(t, l, func(s kv.Store) { // a step back of one lab is one finding
		lab := labA
		lab[15] = 42
		dropHead(t, s, record.Origin{Node: l.Node.ID, Lab: lab, Epoch: 1})
		report, err := care.Verify(t.Context(), care.Source{Store: s, Anchor: l.AnchorPath(), Node: l.Node.ID})
		n := 0
		for _, f := range report.Findings {
			if f.Class == care.Forked {
				n++
			}
		}
		if err != nil || n != 1 {
			t.Errorf("verify: %v\n%s", err, report)
		}
	})
	l.Reopen(t)
	if n := l.Notices(); len(n) != 1 || !strings.Contains(n[0], "its head names record 0, but the log ends with record 2") {
		t.Errorf("notices %q", n)
	}
	l.Stop(t)
}

func TestStoreOfAnotherNode(t *testing.T) {
	a, b := ledgertest.Open(t), ledgertest.Open(t, ledgertest.Options{Damaged: true})
	add(t, a, labA, "a")
	for _, o := range []ledger.Options{
		{Node: b.Node.ID, Key: b.Node.PrivateKey, Store: a.Store, Anchor: b.AnchorPath()},
		{Node: b.Node.ID, Key: b.Node.PrivateKey, Store: b.Store, Anchor: a.AnchorPath()},
	} {
		if _, err := ledger.Open(t.Context(), o); problem.Of(err) != problem.Invalid {
			t.Errorf("Open = %v", err)
		}
	}
}

// lossy is a store whose commits can fail after, or before, they took effect.
type lossy struct {
	kv.Store
	fail *string
}

var errDisk = errors.New("input/output error")

func (s lossy) Update(ctx context.Context, fn func(kv.Tx) error) error {
	switch *s.fail {
	case "":
		return s.Store.Update(ctx, fn)
	case "before":
		return errors.Join(kv.ErrUnknown, errDisk)
	default:
		return errors.Join(s.Store.Update(ctx, fn), kv.ErrUnknown, errDisk)
	}
}

// Reopen ends the fault, as a real store's does.
func (s lossy) Reopen(context.Context) error { *s.fail = ""; return nil }
func (s lossy) Stopped() error               { return nil }

// L6: after an unknown outcome nothing is written until the store was read
// again; then the chain goes on from what is really there.
func TestUnknownOutcome(t *testing.T) {
	for when, want := range map[string]uint64{"before": 3, "after": 4} {
		t.Run(when, func(t *testing.T) {
			fail := new(string)
			l := ledgertest.Open(t, ledgertest.Options{Wrap: func(s kv.Store) kv.Store { return lossy{s, fail} }})
			add(t, l, labA, "a")
			*fail = when
			if _, err := l.Append(t.Context(), labA, draft("note", "b")); !errors.Is(err, kv.ErrUnknown) {
				t.Fatalf("Append = %v", err)
			}
			*fail = ""
			if _, err := l.Append(t.Context(), labA, draft("note", "c")); problem.Of(err) != problem.Unavailable || !errors.Is(err, errDisk) {
				t.Errorf("Append after it = %v", err)
			}
			if _, err := l.AppendForeign(t.Context(), l.Own(labA), nil); problem.Of(err) != problem.Unavailable {
				t.Errorf("AppendForeign after it = %v", err)
			}
			if l.Faulted() == nil {
				t.Error("Faulted says nothing")
			}
			if err := l.Recover(t.Context()); err != nil {
				t.Fatalf("Recover: %v", err)
			}
			if r := add(t, l, labA, "d")[0]; r.Seq != want || r.Epoch != 1 {
				t.Errorf("the next record is %d of epoch %d, want %d", r.Seq, r.Epoch, want)
			}
			chain(t, l, l.Own(labA))
		})
	}
}

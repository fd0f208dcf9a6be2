package ledger_test

import (
	"os"
	"slices"
	"testing"

	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// A stop between commit and anchor, a start, and then an older store: records
// that the start counted are gone, and that is seen.
func TestOlderStoreAfterAStopBetweenCommitAndAnchor(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a")
	l.Stop(t)
	copyFile(t, l.StorePath(), l.StorePath()+".old")
	copyFile(t, l.AnchorPath(), l.AnchorPath()+".old")
	l.Reopen(t)
	add(t, l, labA, "b")
	old := l.Own(labA)
	l.Stop(t)
	copyFile(t, l.AnchorPath()+".old", l.AnchorPath())
	l.Reopen(t)
	l.Stop(t)
	copyFile(t, l.StorePath()+".old", l.StorePath())
	l.Reopen(t)
	if r := add(t, l, labA, "c"); r[0].Epoch <= old.Epoch {
		t.Errorf("record 3 was there at the last start; the next one is record %d of epoch %d", r[0].Seq, r[0].Epoch)
	}
}

// A closed chain stays closed when a store from before comes back: the anchor
// knows of it.
func TestOlderStoreDoesNotOpenAClosedChain(t *testing.T) {
	for name, shut := range map[string]func(*ledgertest.Ledger){
		"by a lost anchor": func(l *ledgertest.Ledger) {
			l.Stop(t)
			if err := os.Remove(l.AnchorPath()); err != nil {
				t.Fatal(err)
			}
			l.Reopen(t)
		},
		"by the exchange": func(l *ledgertest.Ledger) {
			if err := l.CloseOwn(t.Context(), l.Own(labA), "the server goes on elsewhere"); err != nil {
				t.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			l := ledgertest.Open(t)
			add(t, l, labA, "a")
			old := l.Own(labA)
			l.Stop(t)
			copyFile(t, l.StorePath(), l.StorePath()+".old")
			l.Reopen(t)
			shut(l)
			l.Stop(t)
			copyFile(t, l.StorePath()+".old", l.StorePath())
			l.Reopen(t)
			if r := add(t, l, labA, "b"); r[0].Epoch <= old.Epoch {
				t.Errorf("epoch %d is written again", r[0].Epoch)
			}
		})
	}
}

// A store from between the closing of a chain and the opening of the next one:
// the next one is not opened a second time.
func TestOlderStoreDoesNotOpenAnEpochTwice(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a")
	if err := l.CloseOwn(t.Context(), l.Own(labA), "the server goes on elsewhere"); err != nil {
		t.Fatal(err)
	}
	l.Stop(t)
	copyFile(t, l.StorePath(), l.StorePath()+".old")
	l.Reopen(t)
	second := add(t, l, labA, "b")[0]
	l.Stop(t)
	copyFile(t, l.StorePath()+".old", l.StorePath())
	l.Reopen(t)
	if r := add(t, l, labA, "c")[0]; r.Epoch <= second.Epoch {
		t.Errorf("epoch %d is written again", r.Epoch)
	}
}

// Chains are closed in the order of their labs, so that the same node in the
// same state always does the same.
func TestChainsAreClosedInTheOrderOfTheirLabs(t *testing.T) {
	var asked uint32
	l := ledgertest.Open(t, ledgertest.Options{Skip: func(uint32) uint32 { asked++; return asked }})
	var labs []record.LabID
	for i := range byte(8) {
		labs = append(labs, record.LabID{7 - i})
		add(t, l, labs[i], "a")
	}
	slices.Reverse(labs)
	if err := l.CloseEveryOwn(t.Context(), "the store was set back"); err != nil {
		t.Fatal(err)
	}
	for i, lab := range labs {
		if r := add(t, l, lab, "b"); r[0].Epoch != 2+uint32(i+1) {
			t.Errorf("lab %d goes on in epoch %d, not in %d", i, r[0].Epoch, 2+i+1)
		}
	}
}

// A store from before two epochs: neither is opened a second time.
func TestOlderStoreOverTwoEpochs(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a")
	closeOwn(t, l)
	l.Stop(t)
	copyFile(t, l.StorePath(), l.StorePath()+".old")
	l.Reopen(t)
	add(t, l, labA, "b")
	closeOwn(t, l)
	third := add(t, l, labA, "c")[0]
	l.Stop(t)
	copyFile(t, l.StorePath()+".old", l.StorePath())
	l.Reopen(t)
	if r := add(t, l, labA, "d")[0]; third.Epoch != 3 || r.Epoch != 4 {
		t.Errorf("after epoch %d comes epoch %d", third.Epoch, r.Epoch)
	}
}

func closeOwn(t *testing.T, l *ledgertest.Ledger) {
	t.Helper()
	if err := l.CloseOwn(t.Context(), l.Own(labA), "the server goes on elsewhere"); err != nil {
		t.Fatal(err)
	}
}

// A stop between the closing of a chain and the anchor: nothing is in doubt that
// was not before, and the epoch that was chosen is the one that is opened.
func TestAnchorFromBeforeTheClosing(t *testing.T) {
	l := ledgertest.Open(t, ledgertest.Options{Skip: func(uint32) uint32 { return 3 }})
	add(t, l, labA, "a", "b", "c")
	l.Stop(t)
	copyFile(t, l.AnchorPath(), l.AnchorPath()+".old")
	l.Reopen(t)
	if err := l.CloseEveryOwn(t.Context(), "the store was set back"); err != nil {
		t.Fatal(err)
	}
	l.Stop(t)
	copyFile(t, l.AnchorPath()+".old", l.AnchorPath())
	l.Reopen(t)
	r := add(t, l, labA, "d")[0]
	if r.Epoch != 5 {
		t.Errorf("epoch %d, want 5", r.Epoch)
	}
	l.Stop(t)
	copyFile(t, l.AnchorPath()+".old", l.AnchorPath()) // it knows more records of epoch 1 than epoch 5 has
	l.Reopen(t)
	if again := add(t, l, labA, "e")[0]; again.Origin() != r.Origin() || again.Seq != 3 || len(l.Notices()) != 0 {
		t.Errorf("then record %d of epoch %d, notices %q", again.Seq, again.Epoch, l.Notices())
	}
}

// A store with another record in the place that the anchor knows: two programs
// wrote on copies of one folder.
func TestAnchorKnowsAnotherRecord(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a")
	l.Stop(t)
	copyFile(t, l.StorePath(), l.StorePath()+".old")
	copyFile(t, l.AnchorPath(), l.AnchorPath()+".old")
	l.Reopen(t)
	add(t, l, labA, "written here")
	old := l.Own(labA)
	l.Stop(t)
	copyFile(t, l.AnchorPath(), l.AnchorPath()+".here")
	copyFile(t, l.StorePath()+".old", l.StorePath())
	copyFile(t, l.AnchorPath()+".old", l.AnchorPath())
	l.Reopen(t)
	add(t, l, labA, "written there")
	l.Stop(t)
	copyFile(t, l.AnchorPath()+".here", l.AnchorPath())
	l.Reopen(t)
	wantNewEpoch(t, l, old, 3, "record 3 is not the one that the anchor knows")
}

package ledger_test

import (
	"bytes"
	"testing"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Records are carried over only from a place that both histories really share.
func TestStrandRefusesAPlaceThatIsNotShared(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a", "b", "c")
	o := l.Own(labA)
	recs := chain(t, l, o)
	wrong := recs[1].Head()
	wrong.Hash[3] ^= 1
	if n, err := l.Strand(t.Context(), o, wrong, "another history"); n != 0 || problem.Of(err) != problem.Invalid {
		t.Errorf("%d records carried, %v", n, err)
	}
	if got := chain(t, l, o); len(got) != len(recs) {
		t.Errorf("the chain has %d records, want %d", len(got), len(recs))
	}
	if n, err := l.Strand(t.Context(), o, recs[1].Head(), "another history"); n != 2 || err != nil {
		t.Errorf("from the right place: %d records carried, %v", n, err)
	}
}

// What cannot be read is not carried; its bytes are kept apart, and not among
// the good ones that left the chain.
func TestStrandKeepsDamagedBytesApart(t *testing.T) {
	l := ledgertest.Open(t, ledgertest.Options{Damaged: true})
	add(t, l, labA, "a", "b", "c", "d")
	o := l.Own(labA)
	recs := chain(t, l, o)
	bad := ledger.LogValue(&recs[3])
	bad[len(bad)-2] ^= 1
	if err := l.Store.Update(t.Context(), func(tx kv.Tx) error { return tx.Put(ledger.LogTable, ledger.LogKey(o, 4), bad) }); err != nil {
		t.Fatal(err)
	}
	if n, err := l.Strand(t.Context(), o, recs[1].Head(), "another history"); n != 2 || err != nil {
		t.Fatalf("%d records carried, %v", n, err)
	}
	err := l.Store.View(t.Context(), func(r kv.Reader) error {
		all, err := ledger.ScanStranded(r)
		if err != nil {
			return err
		}
		var left []uint64
		for _, e := range all {
			left = append(left, e.Ref.Seq)
			if !bytes.Equal(e.Raw, recs[e.Ref.Seq-1].Raw) {
				t.Errorf("record %d did not leave as it was written", e.Ref.Seq)
			}
		}
		if len(left) != 2 || left[0] != 3 || left[1] != 5 {
			t.Errorf("records %v left the chain, want 3 and 5", left)
		}
		b, err := r.Get(ledger.QuarantineTable, ledger.LogKey(o, 4))
		if !bytes.Equal(b, bad) {
			t.Errorf("the damaged bytes are not kept: %d bytes", len(b))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// An epoch of which records are here already, from wherever, is not written.
func TestTakenEpochIsPassedOver(t *testing.T) {
	l := ledgertest.Open(t, ledgertest.Options{Damaged: true})
	add(t, l, labA, "a")
	o := l.Own(labA)
	if err := l.CloseOwn(t.Context(), o, "the server goes on elsewhere"); err != nil {
		t.Fatal(err)
	}
	taken := record.Origin{Node: o.Node, Lab: o.Lab, Epoch: 2}
	err := l.Store.Update(t.Context(), func(tx kv.Tx) error {
		return tx.Put(ledger.HeadTable, ledger.HeadKey(taken), ledger.HeadValue(record.Head{Seq: 3, Hash: record.Hash{1}}, 0))
	})
	if err != nil {
		t.Fatal(err)
	}
	if r := add(t, l, labA, "b")[0]; r.Epoch != 3 || r.Seq != 2 {
		t.Errorf("the next record is %d of epoch %d, want 2 of epoch 3", r.Seq, r.Epoch)
	}
}

package ledger_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"thudbook/sync/care"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// What verify finds in a chain of another node, of which no anchor knows.
func TestVerifyFindsInAForeignChain(t *testing.T) {
	a := ledgertest.Open(t)
	add(t, a, labA, "a", "b", "c", "d")
	o := a.Own(labA)
	recs := chain(t, a, o)
	head := recs[len(recs)-1].Head()
	for _, tc := range []struct {
		name, want string
		harm       func(tx kv.Tx) error
	}{
		{"the tail cut off", "record 5 of origin", func(tx kv.Tx) error { return tx.Delete(ledger.LogTable, ledger.LogKey(o, 5)) }},
		{"a head that went back", "the log goes on behind the head", func(tx kv.Tx) error {
			return tx.Put(ledger.HeadTable, ledger.HeadKey(o), ledger.HeadValue(recs[2].Head(), recs[2].Clock))
		}},
		{"a head with another hash", "not the one that the head names", func(tx kv.Tx) error {
			return tx.Put(ledger.HeadTable, ledger.HeadKey(o), ledger.HeadValue(record.Head{Seq: head.Seq, Hash: record.Hash{7}}, recs[4].Clock))
		}},
		{"a head entry cut short", "its head entry cannot be read", func(tx kv.Tx) error {
			v := ledger.HeadValue(head, recs[4].Clock)
			return tx.Put(ledger.HeadTable, ledger.HeadKey(o), v[:len(v)-1])
		}},
		{"a record in the place of another", "record 3 of origin", func(tx kv.Tx) error {
			return tx.Put(ledger.LogTable, ledger.LogKey(o, 3), ledger.LogValue(&recs[1]))
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			l := ledgertest.Open(t, ledgertest.Options{Damaged: true})
			if _, err := l.AppendForeign(t.Context(), o, raws(recs)); err != nil {
				t.Fatal(err)
			}
			if report, err := l.Verify(t.Context()); err != nil || report.Class() != care.OK {
				t.Fatalf("before: %v\n%s", err, report)
			}
			if err := l.Store.Update(t.Context(), tc.harm); err != nil {
				t.Fatal(err)
			}
			report, err := l.Verify(t.Context())
			if err != nil || report.Class() != care.Damaged || !strings.Contains(report.String(), tc.want) || !strings.Contains(report.String(), o.String()) {
				t.Errorf("verify: %v, want %q\n%s", err, tc.want, report)
			}
		})
	}
}

// One record, looked at by its place alone: damage of another one is not its own,
// and a good record in the wrong place is damage.
func TestCheckRecordLooksAtOne(t *testing.T) {
	l := ledgertest.Open(t, ledgertest.Options{Damaged: true})
	add(t, l, labA, "a", "b", "c", "d")
	o := l.Own(labA)
	recs := chain(t, l, o)
	err := l.Store.Update(t.Context(), func(tx kv.Tx) error {
		if err := tx.Put(ledger.LogTable, ledger.LogKey(o, 3), ledger.LogValue(&recs[3])); err != nil {
			return err
		}
		return tx.Delete(ledger.LogTable, ledger.LogKey(o, 2))
	})
	if err != nil {
		t.Fatal(err)
	}
	err = l.Store.View(t.Context(), func(r kv.Reader) error {
		for seq, bad := range []bool{1: false, 2: true, 3: true, 4: false, 5: false, 6: true} {
			if seq == 0 {
				continue
			}
			err := ledger.CheckRecord(r, o, uint64(seq))
			if bad && (problem.Of(err) != problem.Damaged || !strings.Contains(err.Error(), fmt.Sprintf("record %d", seq))) || !bad && err != nil {
				t.Errorf("record %d: %v", seq, err)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// What can be reached in a store that cannot be opened: a record counts where its
// bytes are what was written, and where it stands in its own place.
func TestReachCountsGoodRecordsAlone(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a", "b", "c", "d", "e", "f", "g")
	o := l.Own(labA)
	recs := chain(t, l, o)
	reach := ledger.NewReach(l.AnchorPath(), l.Node.ID)
	for i := range recs {
		key, value := ledger.LogKey(o, recs[i].Seq), ledger.LogValue(&recs[i])
		switch recs[i].Seq {
		case 3: // not there
			continue
		case 4: // the hash of another one before its bytes
			value = bytes.Clone(value)
			value[5] ^= 1
		case 6: // record 7 stands in its place
			value = ledger.LogValue(&recs[6])
		}
		reach.Take(ledger.LogTable, key, value)
	}
	texts, n := reach.Lost()
	want := []string{fmt.Sprintf("records 3 to 4 of origin %s cannot be read", o), fmt.Sprintf("records 6 to 6 of origin %s cannot be read", o)}
	if n != 5 || fmt.Sprint(texts) != fmt.Sprint(want) {
		t.Errorf("%d reached, lost %q; want 5, %q", n, texts, want)
	}
}

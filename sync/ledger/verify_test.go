package ledger_test

import (
	"bytes"
	"context"
	"fmt"
	"iter"
	"strings"
	"testing"

	"thudbook/sync/care"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// broken is a store with a page of the log that cannot be read: one record's, by
// whatever way it is asked for.
type broken struct {
	kv.Store
	at []byte
}

func (b broken) View(ctx context.Context, fn func(kv.Reader) error) error {
	return b.Store.View(ctx, func(r kv.Reader) error { return fn(brokenReader{r, b.at}) })
}

type brokenReader struct {
	kv.Reader
	at []byte
}

func (b brokenReader) failure() error {
	return problem.New(problem.Damaged, "a page of the store cannot be read", "restore from a backup")
}

func (b brokenReader) Get(t kv.Table, key []byte) ([]byte, error) {
	if t == ledger.LogTable && bytes.Equal(key, b.at) {
		return nil, b.failure()
	}
	return b.Reader.Get(t, key)
}

func (b brokenReader) Scan(t kv.Table, from, to []byte) iter.Seq2[kv.Entry, error] {
	return func(yield func(kv.Entry, error) bool) {
		for e, err := range b.Reader.Scan(t, from, to) {
			if t == ledger.LogTable && err == nil && bytes.Equal(e.Key, b.at) {
				yield(kv.Entry{}, b.failure())
				return
			}
			if !yield(e, err) {
				return
			}
		}
	}
}

// Where a page cannot be read, verify names the records that it held, and those
// alone: of this node's chain, and of another one's, of which no anchor knows.
func TestVerifyNamesWhatCannotBeRead(t *testing.T) {
	a := ledgertest.Open(t)
	add(t, a, labA, "a", "b", "c", "d")
	foreign := a.Own(labA)
	l := ledgertest.Open(t)
	if _, err := l.AppendForeign(t.Context(), foreign, raws(chain(t, a, foreign))); err != nil {
		t.Fatal(err)
	}
	add(t, l, labA, "x", "y", "z")
	for _, o := range []record.Origin{foreign, l.Own(labA)} {
		report, err := care.Verify(t.Context(), care.Source{Store: broken{l.Store, ledger.LogKey(o, 3)}, Anchor: l.AnchorPath(), Node: l.Node.ID})
		want := fmt.Sprintf("record 3 of origin %s cannot be read", o)
		if err != nil || report.Class() != care.Damaged || !strings.Contains(report.String(), want) || strings.Count(report.String(), "cannot be read") != 2 {
			t.Errorf("verify: %v, want %q, and the page\n%s", err, want, report)
		}
	}
}

// The note that a chain continues another one is taken from its head alone.
func TestVerifyTellsContinuationsFromHeadsOfChains(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "a")
	body, err := record.EncodeBody(record.Genesis{NodeKey: l.Node.PublicKey(), Predecessor: &record.Predecessor{Node: l.Node.ID, Lab: labA, Epoch: 9, Seq: 9, Reason: "it says so"}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.Append(t.Context(), labA, ledger.Draft{Kind: record.KindGenesis, Schema: 1, Author: "p1", Body: body}); err != nil {
		t.Fatal(err)
	}
	if report, err := l.Verify(t.Context()); err != nil || report.Class() != care.OK || len(report.Notes) != 0 {
		t.Errorf("verify: %v\n%s", err, report)
	}
}

// A record that left a closed chain and is nowhere else is a finding; the first
// one of a chain, which says nothing that the next one's does not, is none.
func TestVerifyFindsWhatWasSetAsideAndNotCarried(t *testing.T) {
	l := ledgertest.Open(t, ledgertest.Options{Want: care.Forked})
	add(t, l, labA, "a", "b")
	recs := chain(t, l, l.Own(labA))
	for i, want := range []care.Class{care.OK, care.Forked} {
		r := recs[i]
		if i > 0 {
			r = forge(t, r, "nowhere else")
		}
		err := l.Store.Update(t.Context(), func(tx kv.Tx) error {
			return tx.Put(ledger.StrandedTable, kv.Join(ledger.LogKey(r.Origin(), r.Seq), r.Hash[:]), kv.Join([]byte{1}, r.Raw))
		})
		if err != nil {
			t.Fatal(err)
		}
		report, err := l.Verify(t.Context())
		if err != nil || report.Class() != want || strings.Contains(report.String(), "set aside and not carried over") != (want == care.Forked) {
			t.Errorf("record %d: verify: %v, class %d, want %d\n%s", r.Seq, err, report.Class(), want, report)
		}
	}
}

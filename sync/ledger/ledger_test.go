package ledger_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/hlc"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

var (
	labA = uuid.MustParse("aaaaaaaa-0000-4000-8000-000000000001")
	labB = uuid.MustParse("bbbbbbbb-0000-4000-8000-000000000002")
)

func draft(kind record.Kind, text string) ledger.Draft {
	body, err := record.EncodeBody(map[string]string{"text": text})
	if err != nil {
		panic(err) // a map of strings
	}
	return ledger.Draft{Kind: kind, Schema: 1, Author: "p1", Body: body}
}

func add(t testing.TB, l *ledgertest.Ledger, lab record.LabID, texts ...string) []record.Record {
	t.Helper()
	var drafts []ledger.Draft
	for _, s := range texts {
		drafts = append(drafts, draft("note", s))
	}
	recs, err := l.Append(context.Background(), lab, drafts...)
	if err != nil {
		t.Fatalf("Append: %v", err)
	}
	if len(recs) != len(texts) {
		t.Fatalf("Append gives %d records for %d drafts", len(recs), len(texts))
	}
	return recs
}

// chain reads a whole origin and checks it is dense and chained.
func chain(t testing.TB, l *ledgertest.Ledger, o record.Origin) []record.Record {
	t.Helper()
	var all []record.Record
	var head record.Head
	for {
		page, err := l.Read(context.Background(), o, head.Seq, 4000)
		if err != nil {
			t.Fatalf("Read %s after %d: %v", o, head.Seq, err)
		}
		if len(page) == 0 {
			break
		}
		for i := range page {
			if err := record.CheckNext(head, &page[i]); err != nil {
				t.Fatalf("record %d of %s: %v", page[i].Seq, o, err)
			}
			head = page[i].Head()
		}
		all = append(all, page...)
	}
	got, err := l.Head(context.Background(), o)
	if err != nil || got != head {
		t.Fatalf("Head of %s = %v, %v; the chain ends with %v", o, got, err, head)
	}
	return all
}

func raws(recs []record.Record) [][]byte {
	var all [][]byte
	for i := range recs {
		all = append(all, recs[i].Raw)
	}
	return all
}

func TestFirstRecordIsAGenesis(t *testing.T) {
	l := ledgertest.Open(t)
	recs := add(t, l, labA, "one", "two")
	if recs[0].Seq != 2 || recs[1].Seq != 3 || recs[1].Prev != recs[0].Hash {
		t.Errorf("the drafts became records %d and %d", recs[0].Seq, recs[1].Seq)
	}
	all := chain(t, l, l.Own(labA))
	if len(all) != 3 || all[0].Kind != record.KindGenesis {
		t.Fatalf("the chain has %d records, the first of kind %s", len(all), all[0].Kind)
	}
	var g record.Genesis
	if err := record.DecodeBody(all[0].Body, &g); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(g.NodeKey, l.Node.PublicKey()) || g.Software != "ledgertest" || g.Predecessor != nil {
		t.Errorf("genesis %+v", g)
	}
	if o := l.Own(labA); o != (record.Origin{Node: l.Node.ID, Lab: labA, Epoch: 1}) {
		t.Errorf("Own = %s", o)
	}
	if n := l.Notices(); len(n) != 0 {
		t.Errorf("notices %q", n)
	}
}

func TestChainsOfLabsAreApart(t *testing.T) {
	l := ledgertest.Open(t)
	for i := range 10 {
		add(t, l, labA, fmt.Sprint(i))
		add(t, l, labB, fmt.Sprint(i), "more")
	}
	add(t, l, uuid.Nil, "server-wide")
	heads, err := l.Heads(t.Context())
	if err != nil || len(heads) != 3 || heads[l.Own(labA)].Seq != 11 || heads[l.Own(labB)].Seq != 21 || heads[l.Own(uuid.Nil)].Seq != 2 {
		t.Errorf("heads %v, %v", heads, err)
	}
	for _, r := range chain(t, l, l.Own(labB)) {
		if r.Lab != [16]byte(labB) {
			t.Errorf("record %d belongs to lab %x", r.Seq, r.Lab)
		}
	}
	n := 0
	for r, err := range l.All(t.Context()) {
		if err != nil || r.Seq == 0 {
			t.Fatalf("All: %v", err)
		}
		n++
	}
	if n != 34 {
		t.Errorf("All gives %d records, want 34", n)
	}
}

// L3, L4: concurrent appends end in one dense chain, and each sees its own.
func TestConcurrentAppendsAreDenseAndChained(t *testing.T) {
	l := ledgertest.Open(t)
	const writers, each = 12, 20
	var wg sync.WaitGroup
	var mu sync.Mutex
	seen := make(map[uint64]string)
	for w := range writers {
		wg.Go(func() {
			for i := range each {
				text := fmt.Sprintf("%d/%d", w, i)
				recs, err := l.Append(t.Context(), labA, draft("note", text))
				if err != nil {
					t.Errorf("Append: %v", err)
					return
				}
				mu.Lock()
				if other, ok := seen[recs[0].Seq]; ok {
					t.Errorf("record %d was given to %s and %s", recs[0].Seq, other, text)
				}
				seen[recs[0].Seq] = text
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	all := chain(t, l, l.Own(labA))
	if len(all) != writers*each+1 {
		t.Errorf("the chain has %d records, want %d", len(all), writers*each+1)
	}
	for _, r := range all[1:] {
		var b map[string]string
		if err := record.DecodeBody(r.Body, &b); err != nil || b["text"] != seen[r.Seq] {
			t.Errorf("record %d holds %q, want %q (%v)", r.Seq, b["text"], seen[r.Seq], err)
		}
	}
	for i := 1; i < len(all); i++ {
		if all[i].Clock <= all[i-1].Clock { // H1
			t.Errorf("the clock of record %d is not after the one before", all[i].Seq)
		}
	}
}

// H4: over a restart with a clock that fell back, stamps go on upwards.
func TestClockNeverGoesBackOverRestart(t *testing.T) {
	now := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	l := ledgertest.Open(t, ledgertest.Options{Now: func() time.Time { return now }})
	last := add(t, l, labA, "noon")[0]
	now = time.Unix(0, 0)
	l.Reopen(t)
	next := add(t, l, labB, "1970")[0]
	if next.Clock <= last.Clock || next.WallNS != 0 {
		t.Errorf("clock %d after %d, wall %d", next.Clock, last.Clock, next.WallNS)
	}
}

func TestAttachmentsMustBeThere(t *testing.T) {
	l := ledgertest.Open(t)
	ref, err := l.Blobs.Put(t.Context(), strings.NewReader("trace"), 0)
	if err != nil {
		t.Fatal(err)
	}
	d := draft("shot", "with a file")
	d.Attachments = []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: "source", Media: "text/csv"}}
	if _, err := l.Append(t.Context(), labA, d); err != nil {
		t.Fatalf("Append: %v", err)
	}
	for name, change := range map[string]func(*record.Attachment){
		"absent":     func(a *record.Attachment) { a.SHA256 = sha256.Sum256([]byte("nobody")) },
		"wrong size": func(a *record.Attachment) { a.Size++ },
	} {
		bad := d
		bad.Attachments = []record.Attachment{d.Attachments[0]}
		change(&bad.Attachments[0])
		if _, err := l.Append(t.Context(), labA, bad); problem.Of(err) != problem.Invalid {
			t.Errorf("%s: Append = %v", name, err)
		}
	}
	if n := len(chain(t, l, l.Own(labA))); n != 2 {
		t.Errorf("the chain has %d records, want 2", n)
	}
}

func TestAppendRefusesWhatIsNoRecord(t *testing.T) {
	l := ledgertest.Open(t)
	add(t, l, labA, "good")
	if _, err := l.Append(t.Context(), labA, ledger.Draft{}); problem.Of(err) != problem.Invalid {
		t.Errorf("no kind: %v", err)
	}
	big := draft("note", strings.Repeat("x", record.MaxBytes))
	if _, err := l.Append(t.Context(), labA, draft("note", "before"), big); problem.Of(err) != problem.TooLarge {
		t.Errorf("too large: %v", err)
	}
	if n := len(chain(t, l, l.Own(labA))); n != 2 {
		t.Errorf("the chain has %d records: a refused append left something", n)
	}
}

// I2's tool: the decision to append is taken inside the transaction.
func TestAppendWithDecidesInTheTransaction(t *testing.T) {
	l := ledgertest.Open(t)
	var wg sync.WaitGroup
	for range 16 {
		wg.Go(func() {
			_, err := l.AppendWith(t.Context(), labA, func(tx kv.Tx) ([]ledger.Draft, error) {
				seen, err := tx.Get("test.seen", []byte("file"))
				if err != nil || seen != nil {
					return nil, err
				}
				return []ledger.Draft{draft("note", "file")}, tx.Put("test.seen", []byte("file"), []byte{1})
			})
			if err != nil {
				t.Errorf("AppendWith: %v", err)
			}
		})
	}
	wg.Wait()
	if n := len(chain(t, l, l.Own(labA))); n != 2 {
		t.Errorf("16 callers with one file made %d records", n-1)
	}
	stop := errors.New("stop")
	_, err := l.AppendWith(t.Context(), labA, func(tx kv.Tx) ([]ledger.Draft, error) {
		return []ledger.Draft{draft("note", "x")}, stop
	})
	if !errors.Is(err, stop) {
		t.Errorf("AppendWith = %v", err)
	}
}

func TestReadPages(t *testing.T) {
	l := ledgertest.Open(t)
	for range 30 {
		add(t, l, labA, strings.Repeat("x", 500))
	}
	o := l.Own(labA)
	page, err := l.Read(t.Context(), o, 0, 2000)
	size := 0
	for _, r := range page {
		size += len(r.Raw)
	}
	if err != nil || len(page) < 2 || size > 2000 {
		t.Errorf("a page of 2000 bytes has %d records, %d bytes, %v", len(page), size, err)
	}
	if page, err = l.Read(t.Context(), o, 5, 1); err != nil || len(page) != 1 || page[0].Seq != 6 {
		t.Errorf("a page of one byte has %d records, %v, want the one that comes next", len(page), err)
	}
	for _, after := range []uint64{31, 32, 1000} {
		if page, err = l.Read(t.Context(), o, after, 2000); err != nil || len(page) != 0 {
			t.Errorf("after the end (%d): %d records, %v", after, len(page), err)
		}
	}
	if page, err = l.Read(t.Context(), l.Own(labB), 0, 2000); err != nil || len(page) != 0 {
		t.Errorf("an origin without records: %d records, %v", len(page), err)
	}
	r, err := l.Get(t.Context(), record.Ref{Origin: o, Seq: 7})
	if err != nil || r.Seq != 7 {
		t.Errorf("Get = %d, %v", r.Seq, err)
	}
	for _, seq := range []uint64{0, 99} {
		if _, err := l.Get(t.Context(), record.Ref{Origin: o, Seq: seq}); problem.Of(err) != problem.NotFound {
			t.Errorf("Get of %d = %v", seq, err)
		}
	}
}

// A stamp from the future is kept and flagged, and does not move our clock.
func TestSuspectClock(t *testing.T) {
	now := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	future := ledgertest.Open(t, ledgertest.Options{Now: func() time.Time { return now.AddDate(70, 0, 0) }})
	add(t, future, labA, "from 2096")
	l := ledgertest.Open(t, ledgertest.Options{Now: func() time.Time { return now }})
	o := future.Own(labA)
	if head, err := l.AppendForeign(t.Context(), o, raws(chain(t, future, o))); err != nil || head.Seq != 2 {
		t.Fatalf("AppendForeign = %v, %v", head, err)
	}
	for _, step := range []string{"at once", "after a restart"} {
		if own := add(t, l, labA, step)[0]; own.Clock > hlc.At(now.Add(time.Hour)) {
			t.Errorf("%s: our clock followed to %v", step, own.Clock.Wall())
		}
		l.Reopen(t)
	}
	n := 0
	err := l.View(t.Context(), func(r kv.Reader) error {
		for _, err := range r.Scan(ledger.SuspectTable, nil, nil) {
			if err != nil {
				return err
			}
			n++
		}
		return nil
	})
	if err != nil || n != 2 {
		t.Errorf("%d records are flagged, %v, want 2", n, err)
	}
}

// H2 in the log: what is written after a foreign record was seen sorts after it.
func TestClockFollowsForeignRecords(t *testing.T) {
	now := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	ahead := ledgertest.Open(t, ledgertest.Options{Now: func() time.Time { return now.Add(5 * time.Minute) }})
	theirs := add(t, ahead, labA, "ahead")[0]
	l := ledgertest.Open(t, ledgertest.Options{Now: func() time.Time { return now }})
	o := ahead.Own(labA)
	if _, err := l.AppendForeign(t.Context(), o, raws(chain(t, ahead, o))); err != nil {
		t.Fatal(err)
	}
	l.Reopen(t)
	if ours := add(t, l, labA, "reply")[0]; ours.Clock <= theirs.Clock {
		t.Errorf("the reply's clock %d is not after %d", ours.Clock, theirs.Clock)
	}
}

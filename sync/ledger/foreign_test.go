package ledger_test

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/care"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// S2, S3: only what follows the head comes in; repeats change nothing.
func TestForeignRecords(t *testing.T) {
	src, dst := ledgertest.Open(t), ledgertest.Open(t)
	for _, s := range []string{"a", "b", "c", "d", "e"} {
		add(t, src, labA, s)
	}
	o := src.Own(labA)
	all := raws(chain(t, src, o))
	send := func(name string, batch [][]byte, wantSeq uint64, want error) {
		t.Helper()
		head, err := dst.AppendForeign(t.Context(), o, batch)
		if head.Seq != wantSeq || !errors.Is(err, want) || (err == nil) != (want == nil) {
			t.Errorf("%s: head %d, %v, want %d, %v", name, head.Seq, err, wantSeq, want)
		}
		if stored, err2 := dst.Head(t.Context(), o); err2 != nil || stored != head {
			t.Errorf("%s: the answer names head %v, the store %v (%v)", name, head, stored, err2)
		}
	}
	send("nothing", nil, 0, nil)
	send("not from the start", all[1:3], 0, record.ErrGap)
	send("the first two", all[:2], 2, nil)
	send("the same again", all[:2], 2, nil)
	send("a gap", all[3:], 2, record.ErrGap)
	send("overlapping", all[1:4], 4, nil)
	send("a gap within", [][]byte{all[4], all[3]}, 5, nil)
	send("all again", all, 6, nil)
	if got := raws(chain(t, dst, o)); len(got) != len(all) || !bytes.Equal(bytes.Join(got, nil), bytes.Join(all, nil)) {
		t.Error("the chains are not byte for byte the same")
	}
	if forks, err := dst.Forks(t.Context()); err != nil || len(forks) != 0 {
		t.Errorf("forks %v, %v", forks, err)
	}
}

func TestForeignRubbish(t *testing.T) {
	src, dst := ledgertest.Open(t), ledgertest.Open(t)
	add(t, src, labA, "a", "b")
	add(t, src, labB, "c")
	o := src.Own(labA)
	all := raws(chain(t, src, o))
	head, err := dst.AppendForeign(t.Context(), o, [][]byte{all[0], []byte("rubbish"), all[1]})
	if head.Seq != 1 || problem.Of(err) != problem.Invalid {
		t.Errorf("rubbish within: head %d, %v; what came before is kept", head.Seq, err)
	}
	head, err = dst.AppendForeign(t.Context(), o, raws(chain(t, src, src.Own(labB))))
	if head.Seq != 1 || problem.Of(err) != problem.Invalid {
		t.Errorf("records of another origin: head %d, %v", head.Seq, err)
	}
}

// forge makes another record for a place in an existing chain.
func forge(t *testing.T, at record.Record, text string) record.Record {
	t.Helper()
	e := at.Envelope
	e.Body = draft("note", text).Body
	e.Kind, e.Attachments = "note", nil
	r, err := record.Seal(e)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// L5: a second history is refused, kept as evidence, and verify comes to 4.
func TestForkIsEvidence(t *testing.T) {
	src := ledgertest.Open(t)
	add(t, src, labA, "a", "b", "c")
	o := src.Own(labA)
	all := chain(t, src, o)
	for _, at := range []int{1, 3} { // in the middle, and at the head
		dst := ledgertest.Open(t, ledgertest.Options{Want: care.Forked})
		if _, err := dst.AppendForeign(t.Context(), o, raws(all)); err != nil {
			t.Fatal(err)
		}
		other := forge(t, all[at], "another")
		for range 2 {
			head, err := dst.AppendForeign(t.Context(), o, [][]byte{other.Raw})
			if !errors.Is(err, record.ErrFork) || problem.Of(err) != problem.Forked || head != all[3].Head() {
				t.Errorf("at %d: head %v, %v", at, head, err)
			}
		}
		forks, err := dst.Forks(t.Context())
		if err != nil || len(forks) != 1 || forks[0].Ref != other.Ref() || !bytes.Equal(forks[0].Raw, other.Raw) {
			t.Errorf("at %d: evidence %v, %v", at, forks, err)
		}
		if got := chain(t, dst, o); !bytes.Equal(bytes.Join(raws(got), nil), bytes.Join(raws(all), nil)) {
			t.Errorf("at %d: the chain was changed", at)
		}
	}
	dst := ledgertest.Open(t, ledgertest.Options{Want: care.Forked})
	if _, err := dst.AppendForeign(t.Context(), o, raws(all[:2])); err != nil {
		t.Fatal(err)
	}
	e := all[2].Envelope
	e.Prev[5] ^= 1
	next, err := record.Seal(e)
	if err != nil {
		t.Fatal(err)
	}
	if head, err := dst.AppendForeign(t.Context(), o, [][]byte{next.Raw}); !errors.Is(err, record.ErrFork) || head.Seq != 2 {
		t.Errorf("a next record of another history: head %d, %v", head.Seq, err)
	}
}

func TestEvidenceIsBounded(t *testing.T) {
	src, dst := ledgertest.Open(t), ledgertest.Open(t, ledgertest.Options{Want: care.Forked})
	add(t, src, labA, "a")
	o := src.Own(labA)
	all := chain(t, src, o)
	if _, err := dst.AppendForeign(t.Context(), o, raws(all)); err != nil {
		t.Fatal(err)
	}
	for i := range 80 {
		other := forge(t, all[1], fmt.Sprint(i))
		if _, err := dst.AppendForeign(t.Context(), o, [][]byte{other.Raw}); !errors.Is(err, record.ErrFork) {
			t.Fatalf("AppendForeign = %v", err)
		}
	}
	if forks, err := dst.Forks(t.Context()); err != nil || len(forks) != 64 {
		t.Errorf("%d pieces of evidence are kept, %v, want 64", len(forks), err)
	}
}

// A node that was set back hears of its own later records: it must close
// the origin, can then take them in, and goes on in the next epoch.
func TestOwnOriginThatGoesOnElsewhere(t *testing.T) {
	l, server := ledgertest.Open(t), ledgertest.Open(t)
	add(t, l, labA, "a", "b")
	o := l.Own(labA)
	if _, err := server.AppendForeign(t.Context(), o, raws(chain(t, l, o))); err != nil {
		t.Fatal(err)
	}
	twin := chain(t, l, o)[2]
	e := twin.Envelope
	e.Seq, e.Prev = 4, twin.Hash
	later, err := record.Seal(e)
	if err != nil {
		t.Fatal(err)
	}
	if head, err := l.AppendForeign(t.Context(), o, [][]byte{twin.Raw}); err != nil || head.Seq != 3 {
		t.Errorf("our own record sent back: %d, %v", head.Seq, err)
	}
	for _, origin := range []record.Origin{o, {Node: l.Node.ID, Lab: labB, Epoch: 1}, {Node: l.Node.ID, Lab: labA, Epoch: 2}} {
		r := later
		if origin != o {
			e := later.Envelope
			e.Lab, e.Epoch, e.Seq, e.Prev = origin.Lab, origin.Epoch, 1, record.Hash{}
			if r, err = record.Seal(e); err != nil {
				t.Fatal(err)
			}
		}
		_, err := l.AppendForeign(t.Context(), origin, [][]byte{r.Raw})
		if !errors.Is(err, ledger.ErrOwnAhead) || problem.Of(err) != problem.Forked {
			t.Errorf("%s: AppendForeign = %v", origin, err)
		}
	}
	if err := l.CloseOwn(t.Context(), o, "the server has record 4"); err != nil {
		t.Fatal(err)
	}
	if head, err := l.AppendForeign(t.Context(), o, [][]byte{later.Raw}); err != nil || head.Seq != 4 {
		t.Errorf("history of the closed origin: %d, %v", head.Seq, err)
	}
	l.Reopen(t)
	if n := l.Notices(); len(n) != 1 {
		t.Errorf("notices %q", n)
	}
	r := add(t, l, labA, "c")[0]
	if r.Epoch != 2 || r.Seq != 2 {
		t.Errorf("the next record is %d of epoch %d", r.Seq, r.Epoch)
	}
	var g record.Genesis
	first := chain(t, l, r.Origin())[0]
	if err := record.DecodeBody(first.Body, &g); err != nil || g.Predecessor == nil {
		t.Fatalf("genesis %+v, %v", g, err)
	}
	if p := g.Predecessor; p.Origin() != o || p.Seq != 4 || p.Hash != later.Hash || p.Reason != "the server has record 4" {
		t.Errorf("predecessor %+v", p)
	}
	if err := l.CloseOwn(t.Context(), o, "again"); err != nil {
		t.Error(err)
	}
	if got := add(t, l, labA, "d")[0]; got.Epoch != 2 {
		t.Errorf("closing a closed origin moved the open one to epoch %d", got.Epoch)
	}
	if err := l.CloseOwn(t.Context(), record.Origin{Node: uuid.New(), Lab: labA, Epoch: 1}, "x"); problem.Of(err) != problem.Invalid {
		t.Errorf("closing another node's origin = %v", err)
	}
}

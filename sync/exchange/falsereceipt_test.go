package exchange_test

import (
	"context"
	"strings"
	"testing"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/kv"
	"thudbook/sync/receipt"
)

// signing answers a batch with another receipt than the server gives.
type signing struct {
	exchange.Peer
	answer func(receipt.Receipt) receipt.Receipt
}

func (s *signing) Push(ctx context.Context, b exchange.Batch) (receipt.Receipt, error) {
	r, err := s.Peer.Push(ctx, b)
	if err == nil {
		r = s.answer(r)
	}
	return r, err
}

// A receipt that names another record than the one that was written here is not
// kept, however well it is signed: nothing would be pending, and nothing saved.
func TestReceiptOfAnotherRecordIsNotKept(t *testing.T) {
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 3, 50)
	o := w.agent.Own(w.lab)
	p := &signing{Peer: w.peer(), answer: func(r receipt.Receipt) receipt.Receipt {
		s := r.Statement
		s.Hash[5] ^= 1
		return receipt.Sign(w.server.Node.PrivateKey, s)
	}}
	_, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), p)
	all := receipts(t, w)
	for _, r := range all {
		recs, readErr := w.agent.Read(t.Context(), r.Origin, r.Seq-1, 1)
		if readErr != nil || len(recs) != 1 || recs[0].Hash != r.Hash {
			t.Errorf("a receipt for record %d of %s is kept that names another record; the session says %v", r.Seq, r.Origin, err)
		}
	}
	if w.agent.Own(w.lab) == o && err == nil {
		t.Error("the false receipt went unnoticed")
	}
}

func receipts(t *testing.T, w *world) (all []receipt.Receipt) {
	t.Helper()
	err := w.agent.Store.View(t.Context(), func(r kv.Reader) (err error) {
		all, err = receipt.All(r, w.service.Node())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// A server that acknowledges what it had, and not what it was sent, ends the
// session: it would be sent the same for ever.
func TestServerThatAcknowledgesTooLittle(t *testing.T) {
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 2, 50)
	w.run(t, w.peer())
	first := w.stored(t)
	exchangetest.Shots(t, w.agent, w.lab, 2, 60)
	pushes := 0
	p := &signing{Peer: w.peer(), answer: func(receipt.Receipt) receipt.Receipt {
		if pushes++; pushes > 5 {
			t.Fatal("the same records are sent again and again")
		}
		return first
	}}
	_, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), p)
	if err == nil || !strings.Contains(err.Error(), "acknowledged record 3") {
		t.Errorf("the session says %v", err)
	}
	w.run(t, w.peer())
	exchangetest.Same(t, w.agent, w.server, true, w.lab)
}

// A server that is asked to show one record of a chain and shows another, or one
// of another chain, is not believed.
func TestRecordThatWasNotAskedFor(t *testing.T) {
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 3, 10)
	o := w.agent.Own(w.lab)
	recs, err := w.agent.Read(t.Context(), o, 0, 1<<20)
	if err != nil || len(recs) != 4 {
		t.Fatalf("%d records, %v", len(recs), err)
	}
	shown := func(i int) []exchange.Batch { return []exchange.Batch{{Origin: o, Records: [][]byte{recs[i].Raw}}} }
	if h, found, err := exchange.ShownIn(shown(1), o, 2); err != nil || !found || h != recs[1].Hash {
		t.Errorf("the right one: %v, found %v, %v", h, found, err)
	}
	if _, found, err := exchange.ShownIn(shown(2), o, 2); err == nil || found {
		t.Errorf("record 3 for record 2: found %v, %v", found, err)
	}
	other := o
	other.Epoch++
	mislabelled := []exchange.Batch{{Origin: other, Records: [][]byte{recs[1].Raw}}}
	if _, found, err := exchange.ShownIn(mislabelled, other, 2); err == nil || found {
		t.Errorf("a record under another chain's name: found %v, %v", found, err)
	}
}

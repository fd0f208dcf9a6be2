package exchange_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// A server compares what an agent says of its chains with what it has: one that
// says less was set back, one that says another hash at the same place has
// another history, and one that agrees, or has more, gives no cause.
func TestServerDoubtsWhatAnAgentSays(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(*exchange.HeadEntry)
		want   []exchange.Alarm
	}{
		{"the same", func(*exchange.HeadEntry) {}, nil},
		{"more", func(e *exchange.HeadEntry) { e.Seq, e.Hash = e.Seq+3, record.Hash{8} }, nil},
		{"less", func(e *exchange.HeadEntry) { e.Seq, e.Hash = e.Seq-2, record.Hash{8} }, []exchange.Alarm{{Kind: exchange.AgentSetBack, Here: 6, There: 4}}},
		{"another hash", func(e *exchange.HeadEntry) { e.Hash[4] ^= 1 }, []exchange.Alarm{{Kind: exchange.TwoHistories, Here: 6, There: 6}}},
	} {
		var told []exchange.Alarm
		agent, server, lab := ledgertest.Open(t), ledgertest.Open(t), exchangetest.Lab(t)
		s, err := exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: server.Ledger, Blobs: server.Blobs, Store: server.Store, Key: server.Node.PrivateKey,
			Alarm: func(_ context.Context, a exchange.Alarm) error {
				told = append(told, a)
				return nil
			}})
		if err != nil {
			t.Fatal(err)
		}
		exchangetest.Shots(t, agent, lab, 5, 10)
		peer := s.For(exchangetest.Principal(agent, lab))
		if _, err := exchange.Run(t.Context(), exchangetest.Options(agent, s), peer); err != nil {
			t.Fatal(err)
		}
		told = nil
		head, err := agent.Head(t.Context(), agent.Own(lab))
		if err != nil {
			t.Fatal(err)
		}
		e := exchange.HeadEntry{Origin: agent.Own(lab), Seq: head.Seq, Hash: head.Hash}
		tc.change(&e)
		q := exchange.HelloRequest{Protocols: []uint{1, 2}, Node: agent.Node.ID, Nonce: make([]byte, exchange.NonceSize), Heads: []exchange.HeadEntry{e}, TimeMS: time.Now().UnixMilli()}
		if _, err := peer.Hello(t.Context(), q); err != nil {
			t.Fatalf("%s: %v", tc.name, err)
		}
		for i := range told {
			if told[i].Origin != e.Origin || told[i].Node != agent.Node.ID {
				t.Errorf("%s: the alarm is about %s of %s", tc.name, told[i].Origin, told[i].Node)
			}
			told[i] = exchange.Alarm{Kind: told[i].Kind, Here: told[i].Here, There: told[i].There}
		}
		if !slices.Equal(told, tc.want) {
			t.Errorf("%s: told %+v, want %+v", tc.name, told, tc.want)
		}
	}
}

// The word that an earlier chain was closed counts at the head of the next one
// alone; in the middle of a chain it is a record like others.
func TestClosedChainIsToldAtTheHeadOfTheNext(t *testing.T) {
	for _, middle := range []bool{false, true} {
		var told []exchange.Alarm
		agent, server, lab := ledgertest.Open(t), ledgertest.Open(t), exchangetest.Lab(t)
		s, err := exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: server.Ledger, Blobs: server.Blobs, Store: server.Store, Key: server.Node.PrivateKey,
			Alarm: func(_ context.Context, a exchange.Alarm) error {
				told = append(told, a)
				return nil
			}})
		if err != nil {
			t.Fatal(err)
		}
		exchangetest.Shot(t, agent, lab, "a", nil)
		if _, err := exchange.Run(t.Context(), exchangetest.Options(agent, s), s.For(exchangetest.Principal(agent, lab))); err != nil {
			t.Fatal(err)
		}
		if middle { // as the first record of a batch
			body, err := record.EncodeBody(record.Genesis{NodeKey: agent.Node.PublicKey(), Predecessor: &record.Predecessor{Node: agent.Node.ID, Lab: lab, Epoch: 9, Seq: 9, Reason: "it says so"}})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := agent.Append(t.Context(), lab, ledger.Draft{Kind: record.KindGenesis, Schema: 1, Author: "p1", Body: body}); err != nil {
				t.Fatal(err)
			}
		} else {
			if err := agent.CloseOwn(t.Context(), agent.Own(lab), "the disk was replaced"); err != nil {
				t.Fatal(err)
			}
			exchangetest.Shot(t, agent, lab, "b", nil)
		}
		if _, err := exchange.Run(t.Context(), exchangetest.Options(agent, s), s.For(exchangetest.Principal(agent, lab))); err != nil {
			t.Fatal(err)
		}
		if closed := len(told) == 1 && told[0].Kind == exchange.ChainClosed && told[0].Reason == "the disk was replaced"; closed == middle || middle && len(told) > 0 {
			t.Errorf("in the middle: %v; told %+v", middle, told)
		}
	}
}

// busy writes a shot on the agent while the session asks what the server lacks,
// and counts what is asked.
type busy struct {
	exchange.Peer
	write    func()
	asked    []record.Hash
	receipts int
}

func (b *busy) HaveBlobs(ctx context.Context, lab record.LabID, refs []exchange.BlobRef) ([]exchange.Missing, error) {
	for _, r := range refs {
		b.asked = append(b.asked, r.SHA256)
	}
	return b.Peer.HaveBlobs(ctx, lab, refs)
}

func (b *busy) Push(ctx context.Context, batch exchange.Batch) (receipt.Receipt, error) {
	r, err := b.Peer.Push(ctx, batch)
	if b.write != nil {
		b.write()
		b.write = nil
	}
	return r, err
}

func (b *busy) Receipt(ctx context.Context, o record.Origin) (receipt.Receipt, error) {
	b.receipts++
	return b.Peer.Receipt(ctx, o)
}

// Records first: bytes go only for records that the server has, also where one is
// written while a session runs.
func TestAttachmentsWaitForTheirRecord(t *testing.T) {
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 3, 100)
	late := strings.Repeat("late", 30)
	p := &busy{Peer: w.peer()}
	p.write = func() { exchangetest.Shot(t, w.agent, w.lab, "late", []byte(late)) }
	if _, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), p); err != nil {
		t.Fatal(err)
	}
	head, err := w.server.Head(t.Context(), w.agent.Own(w.lab))
	if err != nil {
		t.Fatal(err)
	}
	sent := slices.Contains(p.asked, exchangetest.Sum([]byte(late)))
	if has := head.Seq == 5; sent && !has || len(p.asked) < 3 {
		t.Errorf("the late shot's bytes were offered: %v, its record is on the server: %v; %d offered", sent, has, len(p.asked))
	}
	w.run(t, w.peer())
	exchangetest.Same(t, w.agent, w.server, true, w.lab)
}

// A session that has no attachments to send asks for no receipt beside those that
// come with the records.
func TestNoReceiptIsAskedForWithoutNeed(t *testing.T) {
	w := newWorld(t)
	if _, err := w.agent.Append(t.Context(), w.lab, ledger.Draft{Kind: "note", Schema: 1, Author: "p1", Body: []byte{0xa0}}); err != nil {
		t.Fatal(err)
	}
	p := &busy{Peer: w.peer()}
	for range 2 {
		if _, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), p); err != nil {
			t.Fatal(err)
		}
	}
	if r := w.stored(t); p.receipts != 0 || r.Seq != 2 || r.CompleteThrough != 2 {
		t.Errorf("%d receipts asked for, kept one for %d, complete through %d", p.receipts, r.Seq, r.CompleteThrough)
	}
}

// Two sessions of one chain end in any order: what is complete does not go back.
func TestCompleteDoesNotGoBack(t *testing.T) {
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 4, 20)
	w.run(t, w.peer())
	o := w.agent.Own(w.lab)
	recs, err := w.server.Read(t.Context(), o, 0, 1<<20)
	if err != nil || len(recs) != 5 {
		t.Fatalf("%d records, %v", len(recs), err)
	}
	if err := exchange.StoreComplete(t.Context(), w.service, o, recs[2].Head()); err != nil {
		t.Fatal(err)
	}
	err = w.server.Store.View(t.Context(), func(r kv.Reader) error {
		n, err := exchange.CompleteThrough(r, o)
		if n != 5 {
			t.Errorf("complete through %d, want 5", n)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

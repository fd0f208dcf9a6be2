package exchange_test

import (
	"context"
	"io"
	"slices"
	"strings"
	"sync"
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

// busy does something on the agent in the middle of a session, once, before the
// server is asked for records or after it was given bytes, and counts what is asked.
type busy struct {
	exchange.Peer
	atPull, atPart func()
	asked          []record.Hash
	receipts       int
	mu             sync.Mutex // parts go over side by side
}

func (b *busy) once(f *func()) {
	b.mu.Lock()
	do := *f
	*f = nil
	b.mu.Unlock()
	if do != nil {
		do()
	}
}

func (b *busy) HaveBlobs(ctx context.Context, lab record.LabID, refs []exchange.BlobRef) ([]exchange.Missing, error) {
	for _, r := range refs {
		b.asked = append(b.asked, r.SHA256)
	}
	return b.Peer.HaveBlobs(ctx, lab, refs)
}

func (b *busy) Pull(ctx context.Context, q exchange.PullRequest) ([]exchange.Batch, error) {
	b.once(&b.atPull)
	return b.Peer.Pull(ctx, q)
}

func (b *busy) PutPart(ctx context.Context, lab record.LabID, ref exchange.BlobRef, offset int64, r io.Reader) (int64, error) {
	n, err := b.Peer.PutPart(ctx, lab, ref, offset, r)
	b.once(&b.atPart)
	return n, err
}

func (b *busy) Receipt(ctx context.Context, o record.Origin) (receipt.Receipt, error) {
	b.receipts++
	return b.Peer.Receipt(ctx, o)
}

// Records first: bytes are offered only for records that the server has, also
// where one is written while a session runs; it goes over in the same session.
func TestAttachmentsWaitForTheirRecord(t *testing.T) {
	for _, when := range []string{"before the attachments", "during the last of them"} {
		w := newWorld(t)
		exchangetest.Shots(t, w.agent, w.lab, 3, 100)
		exchangetest.Shot(t, w.server, w.lab, "plan", nil) // there is something to fetch
		late := []byte(strings.Repeat("late", 30))
		p := &busy{Peer: w.peer()}
		write := func() { exchangetest.Shot(t, w.agent, w.lab, "late", late) }
		if when == "during the last of them" {
			p.atPart = write
		} else {
			p.atPull = write
		}
		offered := -1
		p.Peer = &watching{Peer: p.Peer, have: func(refs []exchange.BlobRef) {
			for _, r := range refs {
				if r.SHA256 != exchangetest.Sum(late) {
					continue
				}
				head, err := w.server.Head(t.Context(), w.agent.Own(w.lab))
				if err != nil {
					t.Fatal(err)
				}
				offered = int(head.Seq)
			}
		}}
		if _, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), p); err != nil {
			t.Fatal(err)
		}
		if offered != 5 {
			t.Errorf("%s: the late shot's bytes were offered when the server had %d records, want 5", when, offered)
		}
		exchangetest.Same(t, w.agent, w.server, true, w.lab)
	}
}

// watching hears which bytes are offered.
type watching struct {
	exchange.Peer
	have func([]exchange.BlobRef)
}

func (w *watching) HaveBlobs(ctx context.Context, lab record.LabID, refs []exchange.BlobRef) ([]exchange.Missing, error) {
	w.have(refs)
	return w.Peer.HaveBlobs(ctx, lab, refs)
}

// A receipt is asked for when it can say more than the last one: not where there
// are no attachments, and once where there are two classes of them.
func TestNoReceiptIsAskedForWithoutNeed(t *testing.T) {
	w := newWorld(t)
	note := ledger.Draft{Kind: "note", Schema: 1, Author: "p1", Body: []byte{0xa0}}
	p := &busy{Peer: w.peer()}
	run := func(want uint64, d ledger.Draft) {
		t.Helper()
		p.receipts = 0
		if _, err := w.agent.Append(t.Context(), w.lab, d); err != nil {
			t.Fatal(err)
		}
		for range 2 {
			if _, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), p); err != nil {
				t.Fatal(err)
			}
		}
		if r := w.stored(t); r.Seq != want || r.CompleteThrough != want {
			t.Errorf("a receipt for %d is kept, complete through %d, want %d", r.Seq, r.CompleteThrough, want)
		}
	}
	run(2, note)
	if p.receipts != 0 {
		t.Errorf("%d receipts asked for without an attachment", p.receipts)
	}
	for _, a := range []record.Attachment{{Role: "source", Media: "text/csv"}, {Role: "photo", Media: "image/jpeg"}} {
		ref, err := w.agent.Blobs.Put(t.Context(), strings.NewReader("bytes of the "+a.Role), 0)
		if err != nil {
			t.Fatal(err)
		}
		a.SHA256, a.Size = ref.SHA256, ref.Size
		note.Attachments = append(note.Attachments, a)
	}
	run(3, note)
	if p.receipts != 1 {
		t.Errorf("%d receipts asked for with a source and a photo, want 1", p.receipts)
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

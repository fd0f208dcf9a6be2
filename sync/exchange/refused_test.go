package exchange_test

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/care"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// batchOf reads records after a place and signs them as their writer.
func batchOf(t *testing.T, l *ledgertest.Ledger, lab record.LabID, after uint64) exchange.Batch {
	t.Helper()
	recs, err := l.Read(t.Context(), l.Own(lab), after, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	b := exchange.Batch{Origin: l.Own(lab)}
	for i := range recs {
		b.Records = append(b.Records, recs[i].Raw)
	}
	b.HeadSignature = receipt.SignHead(l.Node.PrivateKey, b.Origin, recs[len(recs)-1].Head())
	return b
}

func push(t *testing.T, w *world, l *ledgertest.Ledger, lab record.LabID, after uint64) receipt.Receipt {
	t.Helper()
	r, err := w.service.For(exchangetest.Principal(l, lab)).Push(t.Context(), batchOf(t, l, lab, after))
	if err != nil {
		t.Fatalf("push: %v", err)
	}
	return r
}

// Invariant S2: what does not follow the head is answered with the head.
func TestPushAnswersDuplicateGapAndFork(t *testing.T) {
	t.Parallel()
	w := newWorldThatEnds(t, care.OK, care.Forked)
	exchangetest.Shots(t, w.agent, w.lab, 5, 10)
	all := batchOf(t, w.agent, w.lab, 0)
	first := all
	first.Records = all.Records[:2]
	two, err := record.Parse(all.Records[1])
	if err != nil {
		t.Fatal(err)
	}
	first.HeadSignature = receipt.SignHead(w.agent.Node.PrivateKey, all.Origin, two.Head())
	for range 2 { // equal bytes: the same receipt
		r, err := w.peer().Push(t.Context(), first)
		if err != nil || r.Seq != 2 || r.Hash != two.Hash {
			t.Fatalf("push of two: %+v, %v", r.Statement, err)
		}
	}
	_, err = w.peer().Push(t.Context(), batchOf(t, w.agent, w.lab, 4))
	if h, ok := errors.AsType[*exchange.HeadError](err); !ok || h.Reason != exchange.Gap || h.Head != two.Head() || problem.Of(err) != problem.Conflict {
		t.Fatalf("gap: %v", err)
	}
	e := two.Envelope
	e.Author = "somebody else"
	other, err := record.Seal(e)
	if err != nil {
		t.Fatal(err)
	}
	fork := exchange.Batch{Origin: all.Origin, Records: [][]byte{all.Records[0], other.Raw},
		HeadSignature: receipt.SignHead(w.agent.Node.PrivateKey, all.Origin, other.Head())}
	_, err = w.peer().Push(t.Context(), fork)
	if h, ok := errors.AsType[*exchange.HeadError](err); !ok || h.Reason != exchange.Fork || problem.Of(err) != problem.Forked {
		t.Fatalf("fork: %v", err)
	}
	forks, err := w.server.Forks(t.Context())
	if err != nil || len(forks) != 1 || !bytes.Equal(forks[0].Raw, other.Raw) {
		t.Errorf("evidence: %d, %v, want the other record", len(forks), err)
	}
	if r, err := w.peer().Push(t.Context(), all); err != nil || r.Seq != 6 {
		t.Errorf("after all that the whole chain: %d, %v, want 6", r.Seq, err)
	}
}

// Invariant S9, as a table: every call with rights that it does not have.
func TestNobodyReachesWhatIsNotTheirs(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	other := ledgertest.Open(t)
	otherLab := exchangetest.Lab(t)
	secret := exchangetest.Shot(t, other, otherLab, "secret", []byte("secret bytes"))
	h := secret.Attachments[0].SHA256
	if _, err := exchange.Run(t.Context(), exchangetest.Options(other, w.service), w.service.For(exchangetest.Principal(other, otherLab))); err != nil {
		t.Fatal(err)
	}
	exchangetest.Shots(t, w.agent, w.lab, 1, 10)
	ctx, me := t.Context(), w.peer()
	foreign := other.Own(otherLab)
	mine := w.agent.Own(w.lab)
	calls := map[string]struct {
		want problem.Code
		call func() error
	}{
		"push another node's chain": {problem.Forbidden, func() error { _, err := me.Push(ctx, batchOf(t, other, otherLab, 0)); return err }},
		"push own node, another lab": {problem.Forbidden, func() error {
			b := batchOf(t, w.agent, w.lab, 0)
			b.Origin.Lab = otherLab
			_, err := me.Push(ctx, b)
			return err
		}},
		"push into the server-wide chain": {problem.Forbidden, func() error {
			b := batchOf(t, w.agent, w.lab, 0)
			b.Origin.Lab = record.LabID{}
			_, err := me.Push(ctx, b)
			return err
		}},
		"push foreign records inside": {problem.Forbidden, func() error {
			b := batchOf(t, other, otherLab, 0)
			b.Origin = mine
			_, err := me.Push(ctx, b)
			return err
		}},
		"push without the node's key": {problem.Unauthenticated, func() error {
			b := batchOf(t, w.agent, w.lab, 0)
			b.HeadSignature = make([]byte, ed25519.SignatureSize)
			_, err := me.Push(ctx, b)
			return err
		}},
		"push nothing": {problem.Invalid, func() error {
			b := batchOf(t, w.agent, w.lab, 0)
			b.Records = nil
			_, err := me.Push(ctx, b)
			return err
		}},
		"push what is no record": {problem.Invalid, func() error {
			b := batchOf(t, w.agent, w.lab, 0)
			b.Records[0] = []byte{1, 2}
			_, err := me.Push(ctx, b)
			return err
		}},
		"receipt of another's chain":   {problem.Forbidden, func() error { _, err := me.Receipt(ctx, foreign); return err }},
		"which bytes another lab has":  {problem.Forbidden, func() error { _, err := me.HaveBlobs(ctx, otherLab, []exchange.BlobRef{{SHA256: h}}); return err }},
		"bytes of another lab":         {problem.NotFound, func() error { _, _, err := me.GetBlob(ctx, otherLab, h, 0); return err }},
		"another lab's bytes, own lab": {problem.NotFound, func() error { _, _, err := me.GetBlob(ctx, w.lab, h, 0); return err }},
		"put into another lab": {problem.Forbidden, func() error {
			return me.PutBlob(ctx, otherLab, exchange.BlobRef{SHA256: h, Size: 12}, strings.NewReader("secret bytes"))
		}},
		"claim bytes by their sum": {problem.Damaged, func() error {
			return me.PutBlob(ctx, w.lab, exchange.BlobRef{SHA256: h, Size: 12}, strings.NewReader("guessed byte"))
		}},
		"claim bytes without bytes": {problem.Damaged, func() error {
			return me.PutBlob(ctx, w.lab, exchange.BlobRef{SHA256: h, Size: 12}, strings.NewReader(""))
		}},
		"too large an attachment": {problem.TooLarge, func() error {
			return me.PutBlob(ctx, w.lab, exchange.BlobRef{SHA256: h, Size: 1 << 40}, strings.NewReader(""))
		}},
		"too many hashes": {problem.TooLarge, func() error {
			_, err := me.HaveBlobs(ctx, w.lab, make([]exchange.BlobRef, exchange.MaxHashes+1))
			return err
		}},
		"hello as another node": {problem.Forbidden, func() error {
			_, err := me.Hello(ctx, exchange.HelloRequest{Protocols: []uint{1}, Node: other.Node.ID, Nonce: make([]byte, 32)})
			return err
		}},
		"hello with a short nonce": {problem.Invalid, func() error {
			_, err := me.Hello(ctx, exchange.HelloRequest{Protocols: []uint{1}, Node: w.agent.Node.ID, Nonce: make([]byte, 3)})
			return err
		}},
		"hello in another protocol": {problem.Unavailable, func() error {
			_, err := me.Hello(ctx, exchange.HelloRequest{Protocols: []uint{99}, Node: w.agent.Node.ID, Nonce: make([]byte, 32)})
			return err
		}},
	}
	for name, c := range calls {
		if err := c.call(); problem.Of(err) != c.want {
			t.Errorf("%s: %v, want code %s", name, err, c.want)
		}
	}
	missing, err := me.HaveBlobs(ctx, w.lab, []exchange.BlobRef{{SHA256: h}})
	if err != nil || len(missing) != 1 {
		t.Errorf("bytes that only another lab holds are not missing: %v, %v", missing, err)
	}
	batches, err := me.Pull(ctx, exchange.PullRequest{})
	if err != nil || len(batches) != 0 {
		t.Errorf("pull gave %d batches of others, %v", len(batches), err)
	}
	res := w.run(t, me)
	if len(res.Labs) != 1 || res.Labs[0] != w.lab {
		t.Errorf("labs told: %v", res.Labs)
	}
}

func TestServerSignatureIsDemanded(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 1, 10)
	o := exchangetest.Options(w.agent, w.service)
	pub, _, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	o.Server.Key = pub
	if _, err := exchange.Run(t.Context(), o, w.peer()); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("another key: %v, want unauthenticated", err)
	}
	o = exchangetest.Options(w.agent, w.service)
	o.Server.ID = uuid.New()
	if _, err := exchange.Run(t.Context(), o, w.peer()); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("another server: %v, want unauthenticated", err)
	}
	replay := &replayer{Peer: w.peer()}
	w.run(t, replay)
	if _, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), replay); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("a welcome of yesterday: %v, want unauthenticated", err)
	}
}

// replayer gives the first welcome again and again.
type replayer struct {
	exchange.Peer
	first *exchange.SignedWelcome
}

func (r *replayer) Hello(ctx context.Context, q exchange.HelloRequest) (exchange.SignedWelcome, error) {
	if r.first != nil {
		return *r.first, nil
	}
	w, err := r.Peer.Hello(ctx, q)
	r.first = &w
	return w, err
}

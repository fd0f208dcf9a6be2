package exchange_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"thudbook/sync/care"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/kv"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

type world struct {
	agent, server *ledgertest.Ledger
	service       *exchange.Service
	lab           record.LabID
}

func newWorld(t *testing.T) *world { return newWorldThatEnds(t, care.OK, care.OK) }

// newWorldThatEnds says what verification comes to at the end on both sides.
func newWorldThatEnds(t *testing.T, agent, server care.Class) *world {
	t.Helper()
	w := &world{agent: ledgertest.Open(t, ledgertest.Options{Want: agent}), server: ledgertest.Open(t, ledgertest.Options{Want: server}), lab: exchangetest.Lab(t)}
	w.service = exchangetest.Service(t, w.server)
	return w
}

func (w *world) peer() exchange.Peer {
	return w.service.For(exchangetest.Principal(w.agent, w.lab))
}

func (w *world) run(t *testing.T, p exchange.Peer) exchange.Result {
	t.Helper()
	res, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), p)
	if err != nil {
		t.Fatalf("session: %v", err)
	}
	return res
}

// stored gives the receipt that the agent keeps for its chain.
func (w *world) stored(t *testing.T) receipt.Receipt {
	t.Helper()
	var r receipt.Receipt
	err := w.agent.Store.View(t.Context(), func(kr kv.Reader) (err error) {
		r, _, err = receipt.Load(kr, w.service.Node(), w.agent.Own(w.lab))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestSessionBringsBothSidesToTheSameContent(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 40, 3000)
	exchangetest.Shot(t, w.server, w.lab, "plan", nil)
	exchangetest.Shot(t, w.server, exchangetest.Lab(t), "another lab's", nil)
	res := w.run(t, w.peer())
	if res.RecordsSent != 41 || res.BlobsSent != 40 || res.RecordsReceived != 2 { // each chain begins with its genesis
		t.Errorf("sent %d records and %d attachments, received %d, want 41, 40, 2", res.RecordsSent, res.BlobsSent, res.RecordsReceived)
	}
	exchangetest.Same(t, w.agent, w.server, true, w.lab)
	r := w.stored(t)
	if r.Seq != 41 || r.CompleteThrough != r.Seq {
		t.Errorf("receipt for %d, complete through %d, want 41, 41", r.Seq, r.CompleteThrough)
	}
	if err := r.Verify(w.service.PublicKey()); err != nil {
		t.Errorf("stored receipt: %v", err)
	}
	heads, err := w.agent.Heads(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if len(heads) != 2 {
		t.Errorf("the agent holds %d chains, want its own and the server's of the lab", len(heads))
	}
	again := w.run(t, w.peer())
	if again.RecordsSent+again.BlobsSent+again.RecordsReceived != 0 {
		t.Errorf("a second session moved something: %+v", again.Progress)
	}
}

// faulty fails after a number of calls, before or after the call took effect.
type faulty struct {
	exchange.Peer
	left int
	lost bool // the call works, the answer does not arrive
}

var errCut = errors.New("cut")

func (f *faulty) fail() bool {
	f.left--
	return f.left < 0
}

func (f *faulty) Hello(ctx context.Context, q exchange.HelloRequest) (exchange.SignedWelcome, error) {
	if f.fail() {
		return exchange.SignedWelcome{}, errCut
	}
	return f.Peer.Hello(ctx, q)
}

func (f *faulty) Push(ctx context.Context, b exchange.Batch) (receipt.Receipt, error) {
	if f.fail() {
		if f.lost {
			if _, err := f.Peer.Push(ctx, b); err != nil {
				return receipt.Receipt{}, err
			}
		}
		return receipt.Receipt{}, errCut
	}
	return f.Peer.Push(ctx, b)
}

func (f *faulty) Receipt(ctx context.Context, o record.Origin) (receipt.Receipt, error) {
	if f.fail() {
		return receipt.Receipt{}, errCut
	}
	return f.Peer.Receipt(ctx, o)
}

func (f *faulty) Pull(ctx context.Context, q exchange.PullRequest) ([]exchange.Batch, error) {
	if f.fail() {
		return nil, errCut
	}
	return f.Peer.Pull(ctx, q)
}

func (f *faulty) PutBlob(ctx context.Context, lab record.LabID, b exchange.BlobRef, r io.Reader) error {
	if f.fail() {
		if f.lost {
			if err := f.Peer.PutBlob(ctx, lab, b, r); err != nil {
				return err
			}
		}
		return errCut
	}
	return f.Peer.PutBlob(ctx, lab, b, r)
}

func (f *faulty) PutPart(ctx context.Context, lab record.LabID, b exchange.BlobRef, offset int64, r io.Reader) (int64, error) {
	if f.fail() {
		if f.lost {
			if at, err := f.Peer.PutPart(ctx, lab, b, offset, r); err != nil {
				return at, err
			}
		}
		return 0, errCut
	}
	return f.Peer.PutPart(ctx, lab, b, offset, r)
}

// Invariant S3: whatever is cut or lost, the end is the same.
func TestSessionResumesAfterEveryCall(t *testing.T) {
	t.Parallel()
	for _, lost := range []bool{false, true} {
		w := newWorld(t)
		for round := range 3 {
			exchangetest.Shots(t, w.agent, w.lab, 6, 20_000)
			exchangetest.Shot(t, w.server, w.lab, "plan", nil)
			batch := &exchange.BatchSize{}
			for n := 0; ; n++ {
				o := exchangetest.Options(w.agent, w.service)
				o.Batch, o.Streams = batch, 1
				_, err := exchange.Run(t.Context(), o, &faulty{Peer: w.peer(), left: n, lost: lost})
				if err == nil {
					break
				}
				if !errors.Is(err, errCut) {
					t.Fatalf("lost %v, round %d, cut after %d calls: %v", lost, round, n, err)
				}
				if n > 100 {
					t.Fatal("the session never ends")
				}
			}
			exchangetest.Same(t, w.agent, w.server, true, w.lab)
			if r := w.stored(t); r.CompleteThrough != r.Seq {
				t.Errorf("round %d: complete through %d of %d", round, r.CompleteThrough, r.Seq)
			}
		}
	}
}

// Invariant S7: a receipt is not complete before the attachments are there.
func TestReceiptIsCompleteOnlyWithAttachments(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	exchangetest.Shot(t, w.agent, w.lab, "without", nil)
	shot := exchangetest.Shot(t, w.agent, w.lab, "with", []byte("t,ax\n0,1\n"))
	r := push(t, w, w.agent, w.lab, 0)
	if r.Seq != 3 || r.CompleteThrough != 2 {
		t.Fatalf("receipt for %d, complete through %d, want 3, 2", r.Seq, r.CompleteThrough)
	}
	h := shot.Attachments[0].SHA256
	missing, err := w.peer().HaveBlobs(ctx, w.lab, []exchange.BlobRef{{SHA256: h}})
	if err != nil || len(missing) != 1 {
		t.Fatalf("HaveBlobs = %v, %v, want one missing", missing, err)
	}
	wrong := []byte("t,ax\n0,2\n")
	err = w.peer().PutBlob(ctx, w.lab, exchange.BlobRef{SHA256: h, Size: int64(len(wrong))}, bytes.NewReader(wrong))
	if problem.Of(err) != problem.Damaged {
		t.Fatalf("wrong bytes: %v, want a problem with code damaged", err)
	}
	if r, err = w.peer().Receipt(ctx, r.Origin); err != nil || r.CompleteThrough != 2 {
		t.Fatalf("after wrong bytes: complete through %d, %v, want 2", r.CompleteThrough, err)
	}
	right := []byte("t,ax\n0,1\n")
	if err := w.peer().PutBlob(ctx, w.lab, exchange.BlobRef{SHA256: h, Size: int64(len(right))}, bytes.NewReader(right)); err != nil {
		t.Fatal(err)
	}
	if r, err = w.peer().Receipt(ctx, r.Origin); err != nil || r.CompleteThrough != 3 {
		t.Fatalf("after the bytes: complete through %d, %v, want 3", r.CompleteThrough, err)
	}
}

// A damaged or lost source must not hold up the others.
func TestDamagedAttachmentStopsOnlyItself(t *testing.T) {
	t.Parallel()
	w := newWorldThatEnds(t, care.Damaged, care.OK)
	bad := exchangetest.Shot(t, w.agent, w.lab, "bad", []byte("bytes that will rot"))
	exchangetest.Shots(t, w.agent, w.lab, 5, 100)
	h := bad.Attachments[0].SHA256.String()
	path := filepath.Join(w.agent.Dir, "blobs", h[:2], h)
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte("bytes that did  rot"), 0o600); err != nil {
		t.Fatal(err)
	}
	res := w.run(t, w.peer())
	if res.BlobsSent != 5 {
		t.Errorf("%d attachments sent, want the 5 good ones", res.BlobsSent)
	}
	if len(res.Notices) != 1 || problem.Of(res.Notices[0].Err) != problem.Damaged {
		t.Errorf("notices: %v, want one of damage", res.Notices)
	}
	if r := w.stored(t); r.Seq != 7 || r.CompleteThrough != 1 {
		t.Errorf("receipt for %d, complete through %d, want 7, 1", r.Seq, r.CompleteThrough)
	}
}

// Records of a lab without a right wait, and a person is told.
func TestRecordsOfAnotherLabStayHere(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	stray := exchangetest.Lab(t)
	exchangetest.Shot(t, w.agent, stray, "stray", nil)
	exchangetest.Shot(t, w.agent, w.lab, "mine", nil)
	res := w.run(t, w.peer())
	if len(res.Notices) != 1 || problem.Of(res.Notices[0].Err) != problem.Forbidden {
		t.Errorf("notices: %v", res.Notices)
	}
	head, err := w.server.Head(t.Context(), w.agent.Own(stray))
	if err != nil || head.Seq != 0 {
		t.Errorf("the server has %d stray records, %v", head.Seq, err)
	}
	exchangetest.Same(t, w.agent, w.server, false, w.lab)
}

// Three agents and a server of one lab, in any order, end with equal logs.
func TestAgentsOfALabSeeEachOther(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	agents := []*ledgertest.Ledger{w.agent, ledgertest.Open(t), ledgertest.Open(t)}
	session := func(l *ledgertest.Ledger) {
		t.Helper()
		o := exchangetest.Options(l, w.service)
		o.Fetch = func(*record.Record, record.Attachment) bool { return true }
		if _, err := exchange.Run(t.Context(), o, w.service.For(exchangetest.Principal(l, w.lab))); err != nil {
			t.Fatal(err)
		}
	}
	for _, i := range []int{0, 2, 1, 1, 0, 2} {
		exchangetest.Shots(t, agents[i], w.lab, 3, 500)
		session(agents[i])
	}
	for _, a := range agents {
		session(a)
		session(a)
	}
	for _, a := range agents {
		exchangetest.Same(t, a, w.server, true, w.lab)
	}
}

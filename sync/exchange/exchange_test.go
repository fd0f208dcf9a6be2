package exchange_test

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"

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
	if r.Seq != 41 || !r.Complete() {
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
			if r := w.stored(t); !r.Complete() {
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

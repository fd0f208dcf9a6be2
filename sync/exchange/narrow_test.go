package exchange_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"testing"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// heard notes what a server is told.
type heard struct {
	exchange.Peer
	hello []exchange.HelloRequest
	pulls []exchange.PullRequest
	have  []record.LabID
}

func (h *heard) Hello(ctx context.Context, q exchange.HelloRequest) (exchange.SignedWelcome, error) {
	h.hello = append(h.hello, q)
	return h.Peer.Hello(ctx, q)
}

func (h *heard) Pull(ctx context.Context, q exchange.PullRequest) ([]exchange.Batch, error) {
	h.pulls = append(h.pulls, q)
	return h.Peer.Pull(ctx, q)
}

func (h *heard) HaveBlobs(ctx context.Context, lab record.LabID, refs []exchange.BlobRef) ([]exchange.Missing, error) {
	h.have = append(h.have, lab)
	return h.Peer.HaveBlobs(ctx, lab, refs)
}

// deaf gives all that it has, whatever it is asked for.
type deaf struct{ exchange.Peer }

func (d *deaf) Pull(ctx context.Context, q exchange.PullRequest) ([]exchange.Batch, error) {
	q.Labs = nil
	return d.Peer.Pull(ctx, q)
}

// A server that fetches lab A from one server and lives with lab B tells the
// first nothing of B, and takes nothing of B from it, whatever that one says
// (I9).
func TestSessionAboutOneLab(t *testing.T) {
	t.Parallel()
	here, there := ledgertest.Open(t), ledgertest.Open(t)
	a, b := exchangetest.Lab(t), exchangetest.Lab(t)
	service := exchangetest.Service(t, there)
	mine := exchangetest.Shot(t, here, a, "written here about A", []byte("bytes of A"))
	exchangetest.Shot(t, here, b, "written here about B", []byte("bytes of B"))
	theirs := exchangetest.Shot(t, there, a, "written there about A", nil)
	forged := exchangetest.Shot(t, there, b, "a claim about B", nil)

	peer := &heard{Peer: service.For(exchangetest.Principal(here, a, b))} // it says that it gives B too
	o := exchangetest.Options(here, service)
	o.Fetch = func(*record.Record, record.Attachment) bool { return true }
	o.Only = func(_ context.Context, l record.LabID) (bool, error) { return l == a, nil }
	res, err := exchange.Run(t.Context(), o, peer)
	if err != nil || len(res.Notices) != 0 {
		t.Fatalf("%v, notices %v", err, res.Notices)
	}
	if head, err := here.Head(t.Context(), theirs.Origin()); err != nil || head.Seq != theirs.Seq {
		t.Errorf("of A %d records came, %v", head.Seq, err)
	}
	if head, err := there.Head(t.Context(), mine.Origin()); err != nil || head.Seq != mine.Seq {
		t.Errorf("of A %d records were handed over, %v", head.Seq, err)
	}
	if head, err := here.Head(t.Context(), forged.Origin()); err != nil || head.Seq != 0 {
		t.Errorf("of B %d records were taken, %v", head.Seq, err)
	}
	if head, err := there.Head(t.Context(), here.Own(b)); err != nil || head.Seq != 0 {
		t.Errorf("of B %d records were handed over, %v", head.Seq, err)
	}
	if len(peer.hello) == 0 || len(peer.pulls) == 0 {
		t.Fatalf("%d hellos and %d pulls, want some", len(peer.hello), len(peer.pulls))
	}
	for _, q := range peer.hello {
		for _, h := range q.Heads {
			if h.Origin.Lab != a {
				t.Errorf("the hello tells of %s", h.Origin)
			}
		}
	}
	for _, q := range peer.pulls {
		for _, h := range q.Vector {
			if h.Origin.Lab != a {
				t.Errorf("the pull tells of %s", h.Origin)
			}
		}
		for _, x := range q.Exclude {
			if x.Lab != a {
				t.Errorf("the pull tells of %s", x)
			}
		}
	}
	exchangetest.Shot(t, there, a, "more about A", nil)
	if _, err := exchange.Run(t.Context(), o, &deaf{peer.Peer}); !exchange.IsAnotherServer(err) {
		t.Errorf("a server that gives what it was not asked for: %v", err)
	}
	if head, err := here.Head(t.Context(), forged.Origin()); err != nil || head.Seq != 0 {
		t.Errorf("of B %d records were taken, %v", head.Seq, err)
	}
	for _, l := range peer.have {
		if l != a {
			t.Errorf("attachments of lab %s were spoken of", l)
		}
	}
}

// Bytes of one lab are no bytes of another that merely knows their hash: they
// count for it once its server showed them all (I9).
func TestBytesAreFetchedForEachLab(t *testing.T) {
	t.Parallel()
	here, there := ledgertest.Open(t), ledgertest.Open(t)
	a, b := exchangetest.Lab(t), exchangetest.Lab(t)
	local, service := exchangetest.Service(t, here), exchangetest.Service(t, there)
	secret := []byte("a source of lab A")
	ref, err := here.Blobs.Put(t.Context(), bytes.NewReader(secret), 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := local.Hold(t.Context(), a, ref.SHA256, ref.Size); err != nil {
		t.Fatal(err)
	}
	agent := ledgertest.Open(t)
	claim := exchangetest.Shot(t, agent, b, "claims the source of A", secret)
	recs, err := agent.Read(t.Context(), claim.Origin(), 0, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	var raws [][]byte
	for i := range recs {
		raws = append(raws, recs[i].Raw)
	}
	if _, err := there.AppendForeign(t.Context(), claim.Origin(), raws); err != nil {
		t.Fatal(err)
	}
	if _, err := there.Blobs.Put(t.Context(), bytes.NewReader(secret), 0); err != nil {
		t.Fatal(err)
	}
	sum := record.Hash(sha256.Sum256(secret))
	if claim.Attachments[0].SHA256 != sum {
		t.Fatal("the record does not name the bytes")
	}
	o := exchangetest.Options(here, service)
	o.Fetch = func(*record.Record, record.Attachment) bool { return true }
	o.Rights = local
	run := func() {
		t.Helper()
		if res, err := exchange.Run(t.Context(), o, service.For(exchangetest.Principal(here, b))); err != nil || len(res.Notices) != 0 {
			t.Fatalf("%v, notices %v", err, res.Notices)
		}
	}
	holds := func(l record.LabID) bool {
		t.Helper()
		ok, err := local.Holds(t.Context(), l, sum)
		if err != nil {
			t.Fatal(err)
		}
		return ok
	}
	run() // the other server does not say that it holds them for B
	if holds(b) {
		t.Error("the bytes count for B although nobody showed them")
	}
	if err := service.Hold(t.Context(), b, sum, ref.Size); err != nil {
		t.Fatal(err)
	}
	run()
	if !holds(b) || !holds(a) {
		t.Errorf("after they were shown: held for A %v, for B %v", holds(a), holds(b))
	}
}

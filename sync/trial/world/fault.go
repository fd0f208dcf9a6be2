package world

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// errCut is what a caller sees of a request or an answer that got lost.
var errCut = errors.New("the trial network cut the call")

// link is the way from one node to one server. It is the peer that a session
// talks to; each call looks the server's service up anew, as a request does.
type link struct {
	a    *actor // whose session it is; nil while healing: nothing goes wrong
	from *node
	to   *node
	rng  *rand.Rand
	down time.Time // partitioned until then
	late []func()  // copies of requests that arrive much later
}

var _ exchange.Peer = (*link)(nil)

func (w *World) link(from, to *node) *link {
	k := [2]*node{from, to}
	if w.links[k] == nil {
		w.links[k] = &link{from: from, to: to, rng: w.rng(from.name + " to " + to.name)}
	}
	return w.links[k]
}

func (l *link) peer() exchange.Peer {
	return l.to.service.For(exchange.Principal{Node: l.from.id, Key: l.from.key.Public().(keyOf), Labs: slices.Clone(l.from.labs)})
}

// chance is one in n, never while healing.
func (l *link) chance(n int) bool { return l.a != nil && l.rng.IntN(n) == 0 }

// call carries one request: do runs on the server, keep takes the answer.
// again is the same request once more, for copies that the network makes.
func (l *link) call(what string, do func() error, again func()) error {
	what = l.from.name + " to " + l.to.name + " " + what
	if l.a != nil {
		l.a.sleep(time.Duration(1+l.rng.IntN(800)) * time.Millisecond)
		if time.Now().Before(l.down) || l.chance(12) {
			l.from.w.note(what, "request lost", l.from)
			return errCut
		}
		if len(l.late) > 0 && l.chance(3) {
			i := l.rng.IntN(len(l.late))
			late := l.late[i]
			l.late = slices.Delete(l.late, i, i+1)
			late()
			l.from.w.note(what, "after a late copy of an older one", l.to)
		}
	}
	l.from.w.violated(l.from.check(false)) // what it wrote meanwhile, before the other side is looked at
	err := do()
	l.from.w.note(what, class(err), l.to)
	if l.a == nil {
		return err
	}
	if again != nil && l.chance(8) {
		again()
		l.from.w.note(what, "a second time", l.to)
	}
	if again != nil && l.chance(8) {
		l.late = append(l.late, again)
	}
	if l.chance(25) { // the server ends between its commit and its answer
		err := l.to.restart()
		l.from.w.violated(err)
		l.from.w.note(what, "the server restarts", l.to)
		return errCut
	}
	l.a.sleep(time.Duration(1+l.rng.IntN(800)) * time.Millisecond)
	if l.chance(12) {
		l.from.w.note(what, "answer lost", l.from)
		return errCut
	}
	l.a.meanwhile()
	return err
}

// Hello implements exchange.Peer.
func (l *link) Hello(ctx context.Context, q exchange.HelloRequest) (w exchange.SignedWelcome, err error) {
	do := func() (err error) { w, err = l.peer().Hello(ctx, q); return err }
	err = l.call("hello", do, func() { _, _ = l.peer().Hello(ctx, q) })
	if err == nil && l.chance(20) {
		l.from.w.note("welcome", "truncated", l.from)
		w.Payload = w.Payload[:l.rng.IntN(len(w.Payload))]
	}
	return w, err
}

// Push implements exchange.Peer.
func (l *link) Push(ctx context.Context, b exchange.Batch) (r receipt.Receipt, err error) {
	sent := b
	if l.chance(10) {
		sent = l.spoil(b)
	}
	push := func(b exchange.Batch) func() error {
		return func() (err error) {
			r, err = l.peer().Push(ctx, b)
			l.heard(r, err)
			return err
		}
	}
	err = l.call(fmt.Sprintf("push %d", len(sent.Records)), push(sent), func() {
		q, err := l.peer().Push(context.WithoutCancel(ctx), b)
		l.heard(q, err)
	})
	if err != nil && len(sent.Records) != len(b.Records) || err != nil && !same(sent, b) {
		return r, errCut // a transport tells damage by its own sum
	}
	return r, err
}

func same(a, b exchange.Batch) bool { return slices.EqualFunc(a.Records, b.Records, bytes.Equal) }

// spoil cuts a batch, cuts its last record, or turns one bit.
func (l *link) spoil(b exchange.Batch) exchange.Batch {
	b.Records = slices.Clone(b.Records)
	last := len(b.Records) - 1
	switch l.rng.IntN(3) {
	case 0:
		b.Records = b.Records[:l.rng.IntN(len(b.Records))]
	case 1:
		b.Records[last] = b.Records[last][:l.rng.IntN(len(b.Records[last]))]
	default:
		b.Records[last] = bytes.Clone(b.Records[last])
		b.Records[last][l.rng.IntN(len(b.Records[last]))] ^= 1 << l.rng.IntN(8)
	}
	return b
}

// heard takes a receipt for what it says: the server must hold this from now on.
func (l *link) heard(r receipt.Receipt, err error) {
	if err != nil || r.Seq == 0 {
		return
	}
	l.from.w.counts["receipts"]++
	if err := r.Verify(l.to.key.Public().(keyOf)); err != nil {
		l.from.w.violated(fmt.Errorf("a receipt of %s: %w", l.to.name, err))
	}
	l.to.acked[record.Ref{Origin: r.Origin, Seq: r.Seq}] = r.Hash
	l.from.w.violated(l.to.check(false))
	for seq := r.Seq; seq > 0; seq-- { // and all before it
		ref := record.Ref{Origin: r.Origin, Seq: seq}
		if seq < r.Seq && l.to.acked[ref] == l.to.at[ref] {
			break
		}
		l.to.acked[ref] = l.to.at[ref]
	}
	l.from.w.violated(l.to.complete(r))
}

// Receipt implements exchange.Peer.
func (l *link) Receipt(ctx context.Context, o record.Origin) (r receipt.Receipt, err error) {
	err = l.call("receipt", func() (err error) {
		r, err = l.peer().Receipt(ctx, o)
		l.heard(r, err)
		return err
	}, nil)
	return r, err
}

// Pull implements exchange.Peer.
func (l *link) Pull(ctx context.Context, q exchange.PullRequest) (out []exchange.Batch, err error) {
	err = l.call("pull", func() (err error) { out, err = l.peer().Pull(ctx, q); return err }, nil)
	for _, b := range out {
		if !slices.Contains(l.from.labs, b.Origin.Lab) {
			l.from.w.violated(fmt.Errorf("%s sent records of a lab that %s may not see", l.to.name, l.from.name))
		}
	}
	if len(out) > 0 && l.chance(8) {
		out = slices.Clone(out)
		at := l.rng.IntN(len(out))
		if l.chance(2) {
			out = out[:at]
		} else {
			out[at].Records = out[at].Records[:l.rng.IntN(len(out[at].Records))]
		}
		l.from.w.note("pull", "truncated", l.from)
		return nil, errCut // the sum at the end of the answer is missing
	}
	return out, err
}

// HaveBlobs implements exchange.Peer.
func (l *link) HaveBlobs(ctx context.Context, id record.LabID, hashes []exchange.BlobRef) (out []exchange.Missing, err error) {
	err = l.call(fmt.Sprintf("have %d", len(hashes)), func() (err error) {
		out, err = l.peer().HaveBlobs(ctx, id, hashes)
		return err
	}, nil)
	return out, err
}

// PutBlob implements exchange.Peer.
func (l *link) PutBlob(ctx context.Context, id record.LabID, ref exchange.BlobRef, r io.Reader) error {
	b, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	sent := b
	if l.chance(10) && len(b) > 0 {
		sent = bytes.Clone(b)
		if l.chance(2) {
			sent = sent[:l.rng.IntN(len(sent))]
		} else {
			sent[l.rng.IntN(len(sent))] ^= 4
		}
	}
	put := func(ctx context.Context, b []byte) error { return l.peer().PutBlob(ctx, id, ref, bytes.NewReader(b)) }
	err = l.call("put", func() error { return put(ctx, sent) }, func() { _ = put(context.WithoutCancel(ctx), b) })
	if err == nil && !bytes.Equal(sent, b) {
		l.from.w.violated(fmt.Errorf("%s took damaged bytes for %s", l.to.name, ref.SHA256))
	}
	return err
}

// PutPart implements exchange.Peer.
func (l *link) PutPart(ctx context.Context, id record.LabID, ref exchange.BlobRef, offset int64, r io.Reader) (at int64, err error) {
	b, err := io.ReadAll(r)
	if err != nil {
		return 0, err
	}
	err = l.call("put part", func() (err error) {
		at, err = l.peer().PutPart(ctx, id, ref, offset, bytes.NewReader(b))
		return err
	}, nil)
	return at, err
}

// GetBlob implements exchange.Peer.
func (l *link) GetBlob(ctx context.Context, id record.LabID, h record.Hash, from int64) (out io.ReadCloser, size int64, err error) {
	err = l.call("get", func() (err error) { out, size, err = l.peer().GetBlob(ctx, id, h, from); return err }, nil)
	if err != nil {
		return nil, 0, err
	}
	if l.chance(8) {
		l.from.w.note("get", "truncated", l.from)
		return readCloser{io.LimitReader(out, l.rng.Int64N(size+1)), out}, size, nil
	}
	return out, size, nil
}

type readCloser struct {
	io.Reader
	io.Closer
}

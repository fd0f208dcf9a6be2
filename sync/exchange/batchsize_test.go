package exchange_test

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// On a link that breaks every 5 MiB a part stays a fraction of that, so that a
// break costs little; on one that holds it grows to the largest again.
func TestPartsFollowTheBreaksOfALink(t *testing.T) {
	const every = 5 << 20
	var b exchange.BatchSize
	for range 20 {
		for passed := int64(0); ; {
			n := b.PartBytes()
			if passed += n; passed >= every {
				break
			}
			b.PartWorked(time.Millisecond, n)
		}
		b.PartFailed(errors.New("the connection broke"))
	}
	for passed := int64(0); passed < every; {
		n := b.PartBytes()
		if n < 64<<10 || n > every/6 {
			t.Fatalf("a part of %d bytes after %d, on a link that breaks every %d", n, passed, every)
		}
		passed += n
		b.PartWorked(time.Millisecond, n)
	}
	total := int64(0)
	for b.PartBytes() < exchange.MaxPartBytes && total < 1<<30 {
		total += b.PartBytes()
		b.PartWorked(time.Millisecond, b.PartBytes())
	}
	if total > 16*exchange.MaxPartBytes {
		t.Errorf("%d bytes went through before parts were at their largest again", total)
	}
	var slow exchange.BatchSize
	before := slow.PartBytes()
	slow.PartWorked(time.Minute, before)
	if slow.PartBytes() >= before {
		t.Errorf("a part that took a minute is followed by one of %d bytes, before it %d", slow.PartBytes(), before)
	}
}

// refusing answers what sends and fetches with an error; nothing else.
type refusing struct {
	exchange.Peer
	push, part, pull error
}

func (r *refusing) Push(ctx context.Context, b exchange.Batch) (receipt.Receipt, error) {
	if r.push != nil {
		return receipt.Receipt{}, r.push
	}
	return r.Peer.Push(ctx, b)
}

func (r *refusing) PutPart(ctx context.Context, lab record.LabID, ref exchange.BlobRef, at int64, from io.Reader) (int64, error) {
	if r.part != nil {
		return at, r.part
	}
	return r.Peer.PutPart(ctx, lab, ref, at, from)
}

func (r *refusing) Pull(ctx context.Context, q exchange.PullRequest) ([]exchange.Batch, error) {
	if r.pull != nil {
		return nil, r.pull
	}
	return r.Peer.Pull(ctx, q)
}

// A server that asks to wait is busy; the link holds. What is sent at once gets
// smaller for a break of the link only.
func TestBusyServersDoNotMakePartsSmaller(t *testing.T) {
	broken := errors.New("the connection broke")
	for name, c := range map[string]struct {
		with          func(error) refusing
		records, part bool // what a break makes smaller
	}{
		"push": {func(e error) refusing { return refusing{push: e} }, true, false},
		"part": {func(e error) refusing { return refusing{part: e} }, false, true},
		"pull": {func(e error) refusing { return refusing{pull: e} }, true, false},
	} {
		t.Run(name, func(t *testing.T) {
			agent, server, lab := ledgertest.Open(t), ledgertest.Open(t), exchangetest.Lab(t)
			s := exchangetest.Service(t, server)
			exchangetest.Shot(t, server, lab, "of the server", nil)
			exchangetest.Shot(t, agent, lab, "of the agent", []byte("source"))
			for _, why := range []error{exchange.Busy(), broken} {
				var size exchange.BatchSize
				o := exchangetest.Options(agent, s)
				o.Batch = &size
				records, part := size.Bytes(), size.PartBytes()
				peer := c.with(why)
				peer.Peer = s.For(exchangetest.Principal(agent, lab))
				if _, err := exchange.Run(t.Context(), o, &peer); !errors.Is(err, why) {
					t.Fatalf("the session ended with %v, not with %v", err, why)
				}
				if got, want := size.Bytes() < records, c.records && why == broken; got != want {
					t.Errorf("%v: batches of %d bytes after %d", why, size.Bytes(), records)
				}
				if got, want := size.PartBytes() < part, c.part && why == broken; got != want {
					t.Errorf("%v: parts of %d bytes after %d", why, size.PartBytes(), part)
				}
			}
		})
	}
}

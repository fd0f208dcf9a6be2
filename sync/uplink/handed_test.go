package uplink_test

import (
	"context"
	"io"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
	"thudbook/sync/uplink"
)

// mute takes attachments, and then has no way to say what it holds.
type mute struct {
	exchange.Peer
	cut atomic.Bool
	got atomic.Int64
}

func (m *mute) lost() error {
	return problem.New(problem.Unavailable, "There is no way to the server.", "Check the cable.")
}

func (m *mute) Hello(ctx context.Context, q exchange.HelloRequest) (exchange.SignedWelcome, error) {
	if m.cut.Load() {
		return exchange.SignedWelcome{}, m.lost()
	}
	return m.Peer.Hello(ctx, q)
}

func (m *mute) Receipt(ctx context.Context, o record.Origin) (receipt.Receipt, error) {
	if m.cut.Load() {
		return receipt.Receipt{}, m.lost()
	}
	return m.Peer.Receipt(ctx, o)
}

func (m *mute) PutPart(ctx context.Context, lab record.LabID, b exchange.BlobRef, offset int64, r io.Reader) (int64, error) {
	n, err := m.Peer.PutPart(ctx, lab, b, offset, r)
	if err == nil && n == b.Size && m.got.Add(1) == 3 {
		m.cut.Store(true)
	}
	return n, err
}

// What the server said it holds stays so while its receipt is on the way, on
// however many looks, and only what is new is pending then.
func TestHandedOverIsNotPendingAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		agent, server := ledgertest.Open(t), ledgertest.Open(t)
		s := exchangetest.Service(t, server)
		lab := exchangetest.Lab(t)
		peer := &mute{Peer: s.For(exchangetest.Principal(agent, lab))}
		u := open(t, agent, uplink.Options{Dial: func(uplink.Settings) (exchange.Peer, error) { return peer, nil }})
		if err := uplink.Settle(t.Context(), u, settings(s, lab)); err != nil {
			t.Fatal(err)
		}
		exchangetest.Shots(t, agent, lab, 3, 100)
		stop := start(t, u)
		defer func() { stop() }()
		u.Wake()
		time.Sleep(time.Minute)
		synctest.Wait()
		if n := peer.got.Load(); n != 3 || !peer.cut.Load() {
			t.Fatalf("%d attachments went over, cut %v", n, peer.cut.Load())
		}
		for look := range 3 {
			if st, err := u.State(t.Context()); err != nil || st.PendingAttachments != 0 || st.PendingBytes != 0 || st.Stuck == "" {
				t.Errorf("look %d: %d attachments, %d bytes pending, stuck %q, %v", look, st.PendingAttachments, st.PendingBytes, st.Stuck, err)
			}
		}
		exchangetest.Shots(t, agent, lab, 1, 5000)
		if st, err := u.State(t.Context()); err != nil || st.PendingAttachments != 1 || st.PendingBytes < 5000 || st.PendingBytes > 7000 {
			t.Errorf("one more shot: %d attachments, %d bytes pending, %v", st.PendingAttachments, st.PendingBytes, err)
		}
		peer.cut.Store(false)
		u.Wake()
		time.Sleep(10 * time.Minute)
		synctest.Wait()
		checkUp(t, u)
		exchangetest.Same(t, agent, server, true, lab)
	})
}

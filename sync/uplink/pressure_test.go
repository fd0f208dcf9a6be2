package uplink_test

import (
	"context"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/uplink"
)

// busy asks everybody to come again later.
type busy struct {
	exchange.Peer
	asked atomic.Int64
	wait  time.Duration
	stuck atomic.Pointer[string]
}

func (b *busy) Hello(ctx context.Context, q exchange.HelloRequest) (exchange.SignedWelcome, error) {
	b.asked.Add(1)
	b.stuck.Store(&q.Stuck)
	if b.asked.Load() > 1 {
		return b.Peer.Hello(ctx, q)
	}
	return exchange.SignedWelcome{}, &exchange.WaitError{After: b.wait, Err: problem.New(problem.Unavailable, "The server is busy.", "Wait.")}
}

// A server that asks to wait is left alone for as long, also when shots come
// meanwhile; the screen says what waits, why, and until when.
func TestAgentWaitsWhenItIsAskedTo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		agent, server := ledgertest.Open(t), ledgertest.Open(t)
		s := exchangetest.Service(t, server)
		lab := exchangetest.Lab(t)
		peer := &busy{Peer: s.For(exchangetest.Principal(agent, lab)), wait: 10 * time.Minute}
		u := open(t, agent, uplink.Options{Dial: func(uplink.Settings) (exchange.Peer, error) { return peer, nil }})
		if err := uplink.Settle(t.Context(), u, settings(s, lab)); err != nil {
			t.Fatal(err)
		}
		exchangetest.Shots(t, agent, lab, 3, 5000)
		exchangetest.Large(t, agent, lab, "film", 100_000)
		stop := start(t, u)
		defer stop()
		for range 9 { // minutes, with a shot each
			time.Sleep(time.Minute)
			u.Wake()
		}
		synctest.Wait()
		if n := peer.asked.Load(); n != 1 {
			t.Errorf("asked %d times within the pause", n)
		}
		st, err := u.State(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if st.Cause != httppeer.Busy || st.Stuck == "" || st.StuckSince.IsZero() || st.NextTry.Sub(st.StuckSince) < peer.wait {
			t.Errorf("cause %q, %q since %v, next try %v", st.Cause, st.Stuck, st.StuckSince, st.NextTry)
		}
		p := st.Pending
		if p.Records.Count != 5 || p.Sources.Count != 3 || p.Videos != (uplink.Share{Count: 1, Bytes: 100_000}) || p.Photos.Count != 0 {
			t.Errorf("pending %+v, want 5 records, 3 sources and a video", p)
		}
		time.Sleep(5 * time.Minute)
		synctest.Wait()
		if st, err = u.State(t.Context()); err != nil || st.Stuck != "" || st.PendingRecords+st.PendingAttachments != 0 || !st.StuckSince.IsZero() {
			t.Errorf("after the pause: %+v, %v", st, err)
		}
		if told := *peer.stuck.Load(); told == "" && peer.asked.Load() == 2 {
			t.Error("the server was not told what was wrong before")
		}
		exchangetest.Same(t, agent, server, true, lab)
	})
}

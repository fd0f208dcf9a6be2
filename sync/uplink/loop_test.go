package uplink_test

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/uplink"
)

// flaky answers from memory, or not at all, and notes when it was asked.
type flaky struct {
	exchange.Peer
	mu   sync.Mutex
	down bool
	at   []time.Time
}

func (f *flaky) Hello(ctx context.Context, q exchange.HelloRequest) (exchange.SignedWelcome, error) {
	f.mu.Lock()
	f.at = append(f.at, time.Now())
	down := f.down
	f.mu.Unlock()
	if down {
		return exchange.SignedWelcome{}, problem.New(problem.Unavailable, "There is no way to the server.", "Check the cable.")
	}
	return f.Peer.Hello(ctx, q)
}

func (f *flaky) set(down bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.down, f.at = down, nil
}

func (f *flaky) asked() []time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.at
}

// counter counts log lines of a level and above.
type counter struct {
	slog.Handler
	mu sync.Mutex
	n  map[slog.Level]int
}

func (c *counter) Enabled(context.Context, slog.Level) bool { return true }
func (c *counter) Handle(_ context.Context, r slog.Record) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.n[r.Level]++
	return nil
}
func (c *counter) count(l slog.Level) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.n[l]
}

func TestLoopBacksOffAndRecovers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		agent, server := ledgertest.Open(t), ledgertest.Open(t)
		s := exchangetest.Service(t, server)
		lab := exchangetest.Lab(t)
		peer := &flaky{Peer: s.For(exchangetest.Principal(agent, lab)), down: true}
		logs := &counter{n: map[slog.Level]int{}}
		u := open(t, agent, uplink.Options{Log: slog.New(logs), Dial: func(uplink.Settings) (exchange.Peer, error) { return peer, nil }})
		stop := start(t, u)
		defer stop()

		time.Sleep(time.Hour)
		synctest.Wait()
		if n := len(peer.asked()); n != 0 {
			t.Fatalf("an agent that is not enrolled asked %d times", n)
		}
		if err := uplink.Settle(t.Context(), u, settings(s, lab)); err != nil {
			t.Fatal(err)
		}
		exchangetest.Shots(t, agent, lab, 3, 100)
		u.Wake()
		time.Sleep(3 * time.Hour)
		synctest.Wait()
		checkBackoff(t, peer.asked())
		if n := logs.count(slog.LevelWarn) + logs.count(slog.LevelError); n != 1 {
			t.Errorf("the log holds %d warnings of one failure, want 1", n)
		}
		checkDown(t, u)

		before := len(peer.asked())
		u.Wake()
		synctest.Wait()
		if n := len(peer.asked()); n != before+1 {
			t.Errorf("a shot led to %d attempts at once, want 1", n-before)
		}
		peer.set(false)
		u.Wake()
		synctest.Wait()
		checkUp(t, u)
		exchangetest.Same(t, agent, server, true, lab)

		peer.set(false)
		time.Sleep(10*time.Minute + time.Second)
		synctest.Wait()
		if n := len(peer.asked()); n != 20 {
			t.Errorf("%d sessions in ten minutes, want one every 30 s", n)
		}
	})
}

// checkBackoff: full jitter with limits 1, 2, 4 … s, and 5 min in the end.
func checkBackoff(t *testing.T, at []time.Time) {
	t.Helper()
	limit := time.Second
	var longest time.Duration
	for i := 1; i < len(at); i++ {
		gap := at[i].Sub(at[i-1])
		longest = max(longest, gap)
		if gap > limit+time.Millisecond {
			t.Errorf("attempt %d came after %v, the limit is %v", i+1, gap, limit)
		}
		limit = min(2*limit, 5*time.Minute)
	}
	// The mean gap is 2.5 min, so about 72 attempts; the bounds are wide.
	if len(at) < 40 || len(at) > 150 || longest < time.Minute {
		t.Errorf("%d attempts in three hours, the longest pause %v", len(at), longest)
	}
}

func checkDown(t *testing.T, u *uplink.Uplink) {
	t.Helper()
	st, err := u.State(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if !st.Enrolled || st.Connected || st.PendingRecords != 4 || st.PendingAttachments != 3 || st.PendingBytes <= 300 || !strings.Contains(st.Stuck, "Check the cable.") || st.OldestPendingSince.IsZero() {
		t.Errorf("without a server: %+v", st)
	}
}

func checkUp(t *testing.T, u *uplink.Uplink) {
	t.Helper()
	st, err := u.State(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if !st.Connected || st.PendingRecords != 0 || st.PendingAttachments != 0 || st.PendingBytes != 0 || st.Stuck != "" || !st.OldestPendingSince.IsZero() || st.LastExchange.IsZero() || !st.ClockKnown || st.ClockWarning != "" {
		t.Errorf("after the exchange: %+v", st)
	}
}

func settings(s *exchange.Service, lab [16]byte) uplink.Settings {
	return uplink.Settings{URL: "https://thudbook.example", Server: s.Node(), ServerKey: s.PublicKey(), Lab: lab, Name: "rig"}
}

func open(t *testing.T, l *ledgertest.Ledger, o uplink.Options) *uplink.Uplink {
	t.Helper()
	o.Ledger, o.Blobs, o.Store, o.Key, o.Software = l.Ledger, l.Blobs, l.Store, l.Node.PrivateKey, "test"
	u, err := uplink.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// start runs the loop; the function it gives stops it and waits.
func start(t *testing.T, u *uplink.Uplink) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- u.Run(ctx) }()
	return func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("the loop ended with %v", err)
		}
	}
}

// The demo sets a shorter limit.
func TestShorterBackoff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		agent, server := ledgertest.Open(t), ledgertest.Open(t)
		s := exchangetest.Service(t, server)
		peer := &flaky{down: true}
		u := open(t, agent, uplink.Options{MaxBackoff: 2 * time.Second, Dial: func(uplink.Settings) (exchange.Peer, error) { return peer, nil }})
		if err := uplink.Settle(t.Context(), u, settings(s, exchangetest.Lab(t))); err != nil {
			t.Fatal(err)
		}
		defer start(t, u)()
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		at := peer.asked()
		for i := 1; i < len(at); i++ {
			if gap := at[i].Sub(at[i-1]); gap > 2*time.Second+time.Millisecond {
				t.Errorf("a pause of %v", gap)
			}
		}
		if len(at) < 60 {
			t.Errorf("%d attempts in two minutes", len(at))
		}
	})
}

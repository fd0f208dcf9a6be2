package httppeer_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"thudbook/sync/blob/blobtest"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/httppeer/proxytest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// fullRuns says that the long tests are wanted (make faults).
func fullRuns() bool { return os.Getenv("THUDBOOK_FULL") != "" }

// impatient gives up a silent connection soon, so that a lost half of one does
// not hold up the test.
func (r *rig) impatient(t *testing.T, url string) *httppeer.Client {
	t.Helper()
	c, err := httppeer.NewClient(httppeer.ClientOptions{URL: url, Node: r.agent.Node.ID, Key: r.agent.Node.PrivateKey, Server: exchangetest.Pin(r.service),
		HTTP: httppeer.NewTransport(httppeer.TransportOptions{Progress: time.Second, Header: time.Second})})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	return c
}

// untilDone holds sessions until one comes to its end; an error that no fault of
// the network explains, and that is not excused, fails the test. Two hours pass between
// them by the agent's clock, after which a download that came damaged is tried again.
func untilDone(t *testing.T, r *rig, o exchange.Options, p exchange.Peer, most int, want record.Hash, excused ...problem.Code) int {
	t.Helper()
	var last error
	for n := range most {
		o.Now = func() time.Time { return time.Now().Add(time.Duration(n) * 2 * time.Hour) }
		res, err := exchange.Run(t.Context(), o, p)
		if err == nil && len(res.Notices) == 0 && !res.More {
			if there, _, err := r.agent.Blobs.Has(t.Context(), want); err != nil || there {
				return n + 1
			}
		}
		if err != nil {
			last = err
			if c := problem.Of(err); slices.Contains([]problem.Code{problem.Internal, problem.Forked, problem.Forbidden}, c) && !slices.Contains(excused, c) {
				t.Fatalf("session %d: %v", n+1, err)
			}
		}
	}
	t.Fatalf("%d sessions did not come to an end; the last error: %v", most, last)
	return most
}

// Whatever a network does, both sides come to the same content in the end, in
// both directions (invariants S3, S8), and nobody is accused of anything.
func TestEveryKindOfFaultConverges(t *testing.T) {
	t.Parallel()
	rounds, far := 1, 30*time.Millisecond
	if fullRuns() {
		rounds, far = 30, 2*time.Second
	}
	about := func(n int64) func(*rand.Rand) int64 {
		return func(r *rand.Rand) int64 { return 1 + r.Int64N(2*n) }
	}
	for name, f := range map[string]proxytest.Faults{
		"latency and jitter": {Latency: time.Millisecond, Jitter: 3 * time.Millisecond},
		"far away":           {Latency: far, Jitter: far / 4},
		"cuts":               {CutAfter: about(40_000)},
		"half closed":        {CutAfter: about(150_000), HalfClose: true},
		"altered bytes":      {Corrupt: 2e-5},
		"all of it":          {CutAfter: about(120_000), HalfClose: true, Corrupt: 5e-6, Jitter: time.Millisecond},
	} {
		for i := range rounds {
			t.Run(fmt.Sprintf("%s %d", name, i), func(t *testing.T) {
				t.Parallel()
				r := newRig(t)
				r.serve(t, httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{Progress: time.Second}))
				exchangetest.Shots(t, r.agent, r.lab, 15, 9000)
				exchangetest.Shot(t, r.agent, r.lab, "noise", blobtest.Random(uint64(i), 300_000))
				plan := exchangetest.Shot(t, r.server, r.lab, "a plan", blobtest.Random(uint64(1000+i), 200_000))
				f.Seed = uint64(i)
				p := proxytest.Start(t, r.http.Listener.Addr().String(), f)
				o := exchangetest.Options(r.agent, r.service)
				o.Fetch = func(*record.Record, record.Attachment) bool { return true }
				o.Batch = &exchange.BatchSize{}
				var excused []problem.Code
				if f.Corrupt > 0 {
					excused = append(excused, problem.Forbidden) // a byte of the lab in a path, or of the node in a hello
				}
				client := r.client(t, p.URL())
				if f.Latency < far {
					client = r.impatient(t, p.URL())
				} else {
					r.serve(t, httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{}))
					p.Target(r.http.Listener.Addr().String())
				}
				n := untilDone(t, r, o, client, 1000, plan.Attachments[0].SHA256, excused...)
				_, cuts := p.Sent(proxytest.ToServer)
				t.Logf("%d sessions, %d cuts", n, cuts)
				exchangetest.Same(t, r.agent, r.server, true, r.lab)
				if forks, err := r.server.Forks(t.Context()); err != nil || len(forks) != 0 {
					t.Errorf("%d forks, %v", len(forks), err)
				}
			})
		}
	}
}

// bigSize is the size of the attachment that is cut, and how often.
func bigSize(t *testing.T) (size int64, cuts int) {
	t.Helper()
	size, cuts = 16<<20, 20
	if fullRuns() {
		size, cuts = 1<<30, 200
	}
	if mb, err := strconv.Atoi(os.Getenv("THUDBOOK_BIG_MB")); err == nil && mb > 0 {
		size = int64(mb) << 20
	}
	return size, cuts
}

// lostByCut is what a cut may cost: blocks of which the check sum had not come.
const lostByCut = 256 << 10

// A cut costs what was under way, not the attachment: with a cut in every
// twentieth of it, little more than its size is sent, in either direction.
func TestCutsOfALargeAttachmentCostLittle(t *testing.T) {
	t.Parallel()
	size, cuts := bigSize(t)
	for _, way := range []int{proxytest.ToServer, proxytest.ToClient} {
		t.Run([]string{"up", "down"}[way], func(t *testing.T) {
			r := newRig(t)
			writer, reader := r.agent, r.server
			if way == proxytest.ToClient {
				writer, reader = r.server, r.agent
			}
			exchangetest.Large(t, writer, r.lab, "film", size)
			left := cuts
			p := proxytest.Start(t, r.http.Listener.Addr().String(), proxytest.Faults{Seed: 7, CutAfter: func(rnd *rand.Rand) int64 {
				if left--; left < 0 {
					return 0
				}
				return size/int64(cuts+1)/2 + rnd.Int64N(size/int64(cuts+1))
			}})
			o := exchangetest.Options(r.agent, r.service)
			o.Fetch = func(*record.Record, record.Attachment) bool { return true }
			o.Batch = &exchange.BatchSize{}
			untilDone(t, r, o, r.client(t, p.URL()), 5*cuts, exchangetest.LargeSum(size))
			sent, cut := p.Sent(way)
			t.Logf("%d bytes, %d cuts: %d sent, %.4f of the size", size, cut, sent, float64(sent)/float64(size))
			if cut < cuts*3/4 {
				t.Errorf("%d cuts, want about %d", cut, cuts)
			}
			if most := size + size/20 + int64(cut)*lostByCut; sent > most {
				t.Errorf("%d bytes were sent for %d, at most %d are allowed with %d cuts", sent, size, most, cut)
			}
			exchangetest.Same(t, writer, reader, false, r.lab)
			if err := reader.Blobs.Verify(t.Context(), exchangetest.LargeSum(size)); err != nil {
				t.Error(err)
			}
		})
	}
}

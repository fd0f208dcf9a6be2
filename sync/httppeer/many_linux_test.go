package httppeer_test

import (
	"encoding/binary"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"
	"golang.org/x/sys/unix"

	"thudbook/sync/blob/blobtest"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// sender is an agent with a backlog in a lab of its own.
type sender struct {
	agent *ledgertest.Ledger
	lab   record.LabID
}

// drainAll lets all senders hold one session each at the same time with a new
// server, and gives how long the last of them took.
func drainAll(b *testing.B, senders []sender, records int64) (took, cpu time.Duration) {
	b.Helper()
	r := &rig{agent: senders[0].agent, server: ledgertest.Open(b), registry: &exchangetest.Registry{}, lab: senders[0].lab}
	r.begin(b)
	for _, s := range senders {
		r.registry.Add(exchangetest.Principal(s.agent, s.lab))
	}
	var g errgroup.Group
	sent := make([]int64, len(senders))
	began, used := time.Now(), processorTime(b)
	for i, s := range senders {
		c := (&rig{agent: s.agent, service: r.service}).client(b, r.http.URL)
		g.Go(func() error {
			res, err := exchange.Run(b.Context(), exchangetest.Options(s.agent, r.service), c)
			sent[i] = res.RecordsSent
			return err
		})
	}
	if err := g.Wait(); err != nil {
		b.Fatal(err)
	}
	took, cpu = time.Since(began), processorTime(b)-used
	var sum int64
	for _, n := range sent {
		sum += n
	}
	if sum < records {
		b.Fatalf("%d records were sent of %d", sum, records)
	}
	return took, cpu
}

// Many agents at once against one agent with all of their backlog, by turns in
// one run: of small records, and of shots with sources that nothing compresses.
func BenchmarkManyAgentsAgainstOne(b *testing.B) {
	many := benchSize(b, "THUDBOOK_BENCH_AGENTS", 200)
	for _, c := range []struct {
		name  string
		each  int
		write func(b *testing.B, s sender, n int)
	}{
		{"records", benchSize(b, "THUDBOOK_BENCH_EACH", 500), func(b *testing.B, s sender, n int) { smallFacts(b, s.agent, s.lab, n) }},
		{"shots", 10, func(b *testing.B, s sender, n int) { noiseShots(b, s, n, 30_000) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			all := make([]sender, many)
			for i := range all {
				all[i] = sender{ledgertest.Open(b), exchangetest.Lab(b)}
				c.write(b, all[i], c.each)
			}
			one := sender{ledgertest.Open(b), exchangetest.Lab(b)}
			c.write(b, one, many*c.each)
			total := int64(many * c.each)
			var ours, alone, oursCPU, aloneCPU time.Duration
			for b.Loop() {
				took, cpu := drainAll(b, []sender{one}, total)
				alone, aloneCPU = alone+took, aloneCPU+cpu
				took, cpu = drainAll(b, all, total)
				ours, oursCPU = ours+took, oursCPU+cpu
			}
			b.ReportMetric(alone.Seconds()/ours.Seconds(), "rate/one-agent")
			// Agents and server share this computer here: what others run on it
			// falls out of the ratio of processor time.
			b.ReportMetric(aloneCPU.Seconds()/oursCPU.Seconds(), "cpu/one-agent")
			b.ReportMetric(float64(total)*float64(b.N)/ours.Seconds(), "records/s")
		})
	}
}

// noiseShots appends n shots with sources of so many bytes, each its own.
func noiseShots(b *testing.B, s sender, n, size int) {
	b.Helper()
	for i := range n {
		lab := exchangetest.Lab(b)
		exchangetest.Shot(b, s.agent, s.lab, "shot", blobtest.Random(binary.LittleEndian.Uint64(lab[:8])+uint64(i), size))
	}
}

// processorTime is what this process has used so far, in user and system mode.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

package httppeer_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"thudbook/sync/blob/blobtest"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/httppeer/proxytest"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

func benchSize(b *testing.B, name string, usual int) int {
	b.Helper()
	if n, err := strconv.Atoi(os.Getenv(name)); err == nil && n > 0 {
		return n
	}
	return usual
}

// smallFacts appends n records of about 500 bytes.
func smallFacts(b *testing.B, l *ledgertest.Ledger, lab record.LabID, n int) {
	b.Helper()
	body, err := record.EncodeBody(map[string]string{"text": fmt.Sprintf("%0300d", 7)})
	if err != nil {
		b.Fatal(err)
	}
	for n > 0 {
		drafts := make([]ledger.Draft, min(n, 1000))
		for i := range drafts {
			drafts[i] = ledger.Draft{Kind: exchangetest.Kind, Schema: 1, UID: exchangetest.Lab(b), Body: body}
		}
		if _, err := l.Append(b.Context(), lab, drafts...); err != nil {
			b.Fatal(err)
		}
		n -= len(drafts)
	}
}

// A backlog of small records, end to end over HTTP and durable at the server.
func BenchmarkBacklogOfSmallRecords(b *testing.B) {
	n := benchSize(b, "THUDBOOK_BENCH_RECORDS", 20_000)
	agent := ledgertest.Open(b)
	lab := exchangetest.Lab(b)
	smallFacts(b, agent, lab, n)
	var took time.Duration
	for b.Loop() {
		b.StopTimer()
		r := &rig{agent: agent, server: ledgertest.Open(b), registry: &exchangetest.Registry{}, lab: lab}
		r.begin(b)
		c := r.client(b, r.http.URL)
		b.StartTimer()
		began := time.Now()
		res, err := r.run(b.Context(), c)
		if err != nil || res.RecordsSent != int64(n)+1 {
			b.Fatalf("%d records sent, %v", res.RecordsSent, err)
		}
		took += time.Since(began)
	}
	b.ReportMetric(float64(n)*float64(b.N)/took.Seconds(), "records/s")
}

// The same with entries of the log, which the server takes into its views in the
// transaction that stores them.
func BenchmarkBacklogOfEntriesWithViews(b *testing.B) {
	n := benchSize(b, "THUDBOOK_BENCH_RECORDS", 20_000)
	agent, in := ledgertest.Open(b), exchangetest.Lab(b)
	for at := range (n + 999) / 1000 {
		drafts := make([]ledger.Draft, min(1000, n-1000*at))
		for i := range drafts {
			body, err := record.EncodeBody(&lab.Note{Topic: lab.NotePlain, EffectiveAt: lab.At(time.Now()), Text: fmt.Sprintf("%0200d", i)})
			if err != nil {
				b.Fatal(err)
			}
			drafts[i] = ledger.Draft{Kind: lab.KindNote, Schema: (&lab.Note{}).SchemaVersion(), UID: exchangetest.Lab(b), Body: body}
		}
		if _, err := agent.Append(b.Context(), in, drafts...); err != nil {
			b.Fatal(err)
		}
	}
	var with, without time.Duration
	for b.Loop() {
		for _, o := range []ledgertest.Options{{Views: view.New()}, {}} {
			r := &rig{agent: agent, server: ledgertest.Open(b, o), registry: &exchangetest.Registry{}, lab: in}
			r.begin(b)
			c := r.client(b, r.http.URL)
			began := time.Now()
			res, err := r.run(b.Context(), c)
			if err != nil || res.RecordsSent != int64(n)+1 {
				b.Fatalf("%d records sent, %v", res.RecordsSent, err)
			}
			if took := time.Since(began); o.Views != nil {
				with += took
			} else {
				without += took
			}
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/with.Seconds(), "records/s")
	b.ReportMetric(with.Seconds()/without.Seconds(), "times-without-views")
}

// A session that finds nothing to do, beside many records.
func BenchmarkNothingToSend(b *testing.B) {
	n := benchSize(b, "THUDBOOK_BENCH_RECORDS", 20_000)
	r := &rig{agent: ledgertest.Open(b), server: ledgertest.Open(b), registry: &exchangetest.Registry{}, lab: exchangetest.Lab(b)}
	smallFacts(b, r.agent, r.lab, n)
	r.begin(b)
	p := proxytest.Start(b, r.http.Listener.Addr().String(), proxytest.Faults{})
	c := r.client(b, p.URL())
	if _, err := r.run(b.Context(), c); err != nil {
		b.Fatal(err)
	}
	up, _ := p.Sent(proxytest.ToServer)
	down, _ := p.Sent(proxytest.ToClient)
	for b.Loop() {
		if _, err := r.run(b.Context(), c); err != nil {
			b.Fatal(err)
		}
	}
	up2, _ := p.Sent(proxytest.ToServer)
	down2, _ := p.Sent(proxytest.ToClient)
	b.ReportMetric(float64(up2+down2-up-down)/float64(b.N), "wire-B/op")
}

func (r *rig) begin(b *testing.B) {
	b.Helper()
	r.service = exchangetest.Service(b, r.server)
	r.registry.Add(exchangetest.Principal(r.agent, r.lab))
	r.serve(b, httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{}))
}

// A backlog of shots with sources that nothing compresses, against an rsync
// daemon that syncs every file (--fsync), in turns within one run.
func BenchmarkBacklogAgainstRsync(b *testing.B) {
	rsync, err := exec.LookPath("rsync")
	if err != nil {
		b.Fatalf("nothing to compare with: %v; .ci/need installs rsync", err)
	}
	n := benchSize(b, "THUDBOOK_BENCH_SHOTS", 300)
	agent, lab, plain := ledgertest.Open(b), exchangetest.Lab(b), b.TempDir()
	for i := range n {
		content := blobtest.Random(uint64(i), 300_000)
		exchangetest.Shot(b, agent, lab, fmt.Sprintf("shot-%05d", i), content)
		if err := os.WriteFile(filepath.Join(plain, fmt.Sprintf("shot-%05d.bin", i)), content, 0o600); err != nil {
			b.Fatal(err)
		}
	}
	var ours, theirs time.Duration
	for b.Loop() {
		theirs += rsyncTo(b, rsync, plain)
		r := &rig{agent: agent, server: ledgertest.Open(b), registry: &exchangetest.Registry{}, lab: lab}
		r.begin(b)
		c := r.client(b, r.http.URL)
		began := time.Now()
		res, err := exchange.Run(b.Context(), exchangetest.Options(agent, r.service), c)
		if err != nil || res.BlobsSent != int64(n) {
			b.Fatalf("%d sent, %v", res.BlobsSent, err)
		}
		ours += time.Since(began)
	}
	b.ReportMetric(theirs.Seconds()/ours.Seconds(), "speed/rsync")
	b.ReportMetric(float64(n)*float64(b.N)/ours.Seconds(), "shots/s")
}

// rsyncTo measures one copy by a daemon on this computer into a new folder.
func rsyncTo(b *testing.B, rsync, from string) time.Duration {
	b.Helper()
	dir := b.TempDir()
	into := filepath.Join(dir, "into")
	if err := os.Mkdir(into, 0o700); err != nil {
		b.Fatal(err)
	}
	conf := filepath.Join(dir, "conf")
	text := fmt.Sprintf("use chroot = no\nuid = %d\ngid = %d\n[into]\npath = %s\nread only = no\n", os.Getuid(), os.Getgid(), into)
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	// The daemon speaks over a pipe: a connection of its own, without a port.
	q := exec.CommandContext(b.Context(), rsync, "-r", "--fsync", "-e", "sh -c 'exec "+rsync+" --server --daemon --config="+conf+" .' #", from+"/", "localhost::into/")
	began := time.Now()
	if out, err := q.CombinedOutput(); err != nil {
		b.Fatalf("the rsync daemon does not run here: %v: %s", err, out)
	}
	took := time.Since(began)
	got, err := os.ReadDir(into)
	want, err2 := os.ReadDir(from)
	if err != nil || err2 != nil || len(got) != len(want) {
		b.Fatalf("rsync copied %d of %d files, %v, %v", len(got), len(want), err, err2)
	}
	return took
}

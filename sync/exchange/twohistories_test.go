package exchange_test

import (
	"bytes"
	"testing"

	"thudbook/sync/care"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// Two servers hold different histories of one chain, since a folder and its
// copy met one each. The agent carries both over, once, and comes to rest: what
// was carried before is neither carried nor fetched again with each session.
func TestTwoServersWithTwoHistories(t *testing.T) {
	t.Parallel()
	c := newScene(t)
	other := c.open("")
	c.fire(c.agent, "both", 2)
	first := c.agent.Own(c.lab)
	twin := c.open(c.copyOf(c.agent))
	c.fire(c.agent, "first PC", 2)
	c.fire(twin, "second PC", 3)

	session := func(l, server *ledgertest.Ledger) exchange.Progress {
		t.Helper()
		s := exchangetest.Service(t, server)
		res, err := exchange.Run(t.Context(), exchangetest.Options(l, s), s.For(exchangetest.Principal(l, c.lab)))
		if err != nil {
			t.Fatal(err)
		}
		return res.Progress
	}
	session(c.agent, c.server)
	session(twin, other)
	rehomed := int64(0)
	for range 6 {
		for _, s := range []*ledgertest.Ledger{c.server, other} {
			rehomed += session(c.agent, s).Rehomed
		}
	}
	if rehomed != 5 {
		t.Errorf("%d records were carried over, want the 2 of the first PC and the 3 of the second", rehomed)
	}
	for _, s := range []*ledgertest.Ledger{c.server, other} {
		if p := session(c.agent, s); p.RecordsSent+p.RecordsReceived+p.Rehomed != 0 {
			t.Errorf("no rest: %+v", p)
		}
		has := map[record.Hash]bool{}
		for _, h := range carriersOn(t, s) {
			has[h.Hash] = true
		}
		recs, err := s.Read(t.Context(), first, 0, 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		shots := len(has)
		for i := range recs {
			if recs[i].Kind != record.KindGenesis && !has[recs[i].Hash] {
				shots++
			}
		}
		if shots != len(c.shots) {
			t.Errorf("a server has %d shots, in their place or carried, want %d", shots, len(c.shots))
		}
	}
	if settled, err := c.agent.Settled(t.Context(), first, 0, record.Head{Seq: 3, Hash: record.Hash{1}}); err != nil || settled {
		t.Errorf("a history that was never here is settled: %v, %v", settled, err)
	}
}

// What a server called complete of one history of its own chain says nothing
// of the history that replaces it, whose attachments may be missing.
func TestCompleteIsOfTheHistoryThatStands(t *testing.T) {
	t.Parallel()
	c := newScene(t)
	c.fire(c.agent, "agent", 1)
	c.fire(c.server, "server", 1)
	own := c.server.Own(c.lab)
	run := func() {
		t.Helper()
		o := exchangetest.Options(c.agent, c.service) // fetches no attachments
		if _, err := exchange.Run(t.Context(), o, c.service.For(exchangetest.Principal(c.agent, c.lab))); err != nil {
			t.Fatal(err)
		}
	}
	run()
	backup := c.copyOf(c.server)
	c.serve()
	c.fire(c.server, "server, lost", 2)
	run()
	c.server.Stop(t)
	c.server = ledgertest.Open(t, ledgertest.Options{Dir: backup, Views: view.New(), Want: care.Damaged}) // bytes are lost
	c.serve()
	c.fire(c.server, "server, after it", 2)
	peer := c.service.For(exchangetest.Principal(c.agent, c.lab))
	if _, err := peer.Pull(t.Context(), exchange.PullRequest{}); err != nil { // looks how far it is complete
		t.Fatal(err)
	}
	complete := func() (n uint64) {
		t.Helper()
		err := c.server.View(t.Context(), func(r kv.Reader) (err error) {
			n, err = exchange.CompleteThrough(r, own)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if n := complete(); n != 4 {
		t.Fatalf("complete through %d before, want 4", n)
	}
	run()
	found := false
	err := c.server.View(t.Context(), func(r kv.Reader) error {
		all, err := ledger.ScanStranded(r)
		found = len(all) == 2
		return err
	})
	if err != nil || !found {
		t.Fatalf("the server did not take its first history back (%v)", err)
	}
	if n := complete(); n > 2 {
		t.Errorf("complete through record %d, but the attachment of record 3 is lost", n)
	}
	if err := ledgerHas(t, c.server, own, 3); err == nil {
		t.Error("the attachment of record 3 is there: this test shows nothing")
	}
}

// ledgerHas verifies the attachments of a record.
func ledgerHas(t *testing.T, l *ledgertest.Ledger, o record.Origin, seq uint64) error {
	t.Helper()
	r, err := l.Get(t.Context(), record.Ref{Origin: o, Seq: seq})
	if err != nil || len(r.Attachments) == 0 {
		t.Fatalf("record %d: %s with %d attachments, %v", seq, r.Kind, len(r.Attachments), err)
	}
	return l.Blobs.Verify(t.Context(), r.Attachments[0].SHA256)
}

// Agent and server were both set back and wrote on. The server opens a new
// chain in the middle of the agent's session, which then stands before the
// records that the agent asks for to compare.
func TestBothSidesWithTwoHistories(t *testing.T) {
	t.Parallel()
	c := newScene(t)
	for bytes.Compare(c.server.Node.ID[:], c.agent.Node.ID[:]) >= 0 { // the server's chains come first
		c = newScene(t)
	}
	c.fire(c.agent, "agent, early", 2)
	c.fire(c.server, "server, early", 1)
	c.session(c.agent)
	agentBackup, serverBackup := c.copyOf(c.agent), c.copyOf(c.server)
	c.serve()
	c.fire(c.server, "server", 2)
	c.session(c.agent)

	c.server.Stop(t)
	c.server = c.open(serverBackup)
	c.serve()
	c.fire(c.server, "server, after it", 2)
	c.twin = c.open(agentBackup)
	c.fire(c.twin, "second PC", 3)
	c.session(c.twin)
	c.fire(c.agent, "first PC", 2)
	if p := c.session(c.agent).Progress; p.GivenBack != 2 || p.Rehomed != 2 {
		t.Errorf("%d given back, %d carried over, want 2 and 2", p.GivenBack, p.Rehomed)
	}
	c.twin.Stop(t) // it keeps the server's second history in its place, as every node keeps the one that it had
	c.twin = nil
	c.settle()
	c.check()
}

package exchange_test

import (
	"os"
	"path/filepath"
	"testing"

	"thudbook/sync/care"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
)

// copyDir copies a stopped node's folder.
func copyDir(t *testing.T, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Join(to, "node.json"), 0o600); err != nil {
		t.Fatal(err)
	}
}

func restored(t *testing.T, backup string, want care.Class) *ledgertest.Ledger {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "restored")
	copyDir(t, backup, dir)
	return ledgertest.Open(t, ledgertest.Options{Dir: dir, Want: want})
}

// A folder restored from a backup, nothing written since: the chain is closed,
// its end comes back as history, and a new chain goes on.
func TestRestoredAgentGoesOnInANewChain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 3, 100)
	w.run(t, w.peer())
	w.agent.Stop(t)
	backup := filepath.Join(t.TempDir(), "backup")
	copyDir(t, w.agent.Dir, backup)
	w.agent.Reopen(t)
	exchangetest.Shots(t, w.agent, w.lab, 4, 100)
	w.run(t, w.peer())
	old := w.agent.Own(w.lab)
	w.agent.Stop(t)

	w.agent = restored(t, backup, care.OK)
	res := w.run(t, w.peer())
	if len(res.Notices) != 1 || problem.Of(res.Notices[0].Err) != problem.Forked {
		t.Errorf("notices: %v, want one of a restored folder", res.Notices)
	}
	if res.RecordsReceived != 4 {
		t.Errorf("%d records came back, want 4", res.RecordsReceived)
	}
	exchangetest.Same(t, w.agent, w.server, false, w.lab)
	exchangetest.Shot(t, w.agent, w.lab, "after", nil)
	if own := w.agent.Own(w.lab); own.Epoch != old.Epoch+1 {
		t.Errorf("the next record went to epoch %d, want %d", own.Epoch, old.Epoch+1)
	}
	if res := w.run(t, w.peer()); len(res.Notices) != 0 {
		t.Errorf("still: %v", res.Notices)
	}
	exchangetest.Same(t, w.agent, w.server, false, w.lab)
}

// A folder restored from a backup that went on writing before the first
// session: two histories, none merged; what only the agent has is carried over
// into a new chain, what only the server has comes back.
func TestRestoredAgentThatWroteIsNotMerged(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 3, 100)
	w.run(t, w.peer())
	w.agent.Stop(t)
	backup := filepath.Join(t.TempDir(), "backup")
	copyDir(t, w.agent.Dir, backup)
	w.agent.Reopen(t)
	exchangetest.Shots(t, w.agent, w.lab, 2, 100)
	w.run(t, w.peer())
	old := w.agent.Own(w.lab)
	w.agent.Stop(t)

	w.agent = restored(t, backup, care.OK)
	exchangetest.Shot(t, w.agent, w.lab, "written too soon", nil)
	res := w.run(t, w.peer())
	if len(res.Notices) == 0 || problem.Of(res.Notices[0].Err) != problem.Forked {
		t.Fatalf("notices: %v, want one of two histories", res.Notices)
	}
	if res.Rehomed != 1 || res.RecordsReceived != 2 {
		t.Errorf("%d records carried over, %d came back, want 1, 2", res.Rehomed, res.RecordsReceived)
	}
	exchangetest.Shot(t, w.agent, w.lab, "after", nil)
	if w.agent.Own(w.lab) == old {
		t.Fatal("the closed chain is still written")
	}
	w.run(t, w.peer())
	head, err := w.server.Head(t.Context(), w.agent.Own(w.lab))
	if err != nil || head.Seq != 3 { // its first record, the one carried over, and the one after
		t.Errorf("the new chain has %d records on the server, %v, want 3", head.Seq, err)
	}
	exchangetest.Same(t, w.agent, w.server, false, w.lab)
}

// A server restored from a backup: the agent sees that it went back, and sends
// again what it lacks (invariants S4, S5).
func TestRestoredServerGetsEverythingAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 3, 100)
	w.run(t, w.peer())
	w.server.Stop(t)
	backup := filepath.Join(t.TempDir(), "backup")
	copyDir(t, w.server.Dir, backup)
	w.server.Reopen(t)
	w.service = exchangetest.Service(t, w.server)
	exchangetest.Shots(t, w.agent, w.lab, 4, 100)
	w.run(t, w.peer())
	before := w.stored(t)
	w.server.Stop(t)

	w.server = restored(t, backup, care.OK)
	if _, err := exchange.NewIncarnation(t.Context(), w.server.Store); err != nil {
		t.Fatal(err)
	}
	w.service = exchangetest.Service(t, w.server)
	res := w.run(t, w.peer())
	if len(res.Notices) != 1 || problem.Of(res.Notices[0].Err) != problem.Damaged {
		t.Errorf("notices: %v, want one of a restored server", res.Notices)
	}
	if res.RecordsSent != 4 || res.BlobsSent != 4 {
		t.Errorf("sent %d records, %d attachments, want 4, 4", res.RecordsSent, res.BlobsSent)
	}
	exchangetest.Same(t, w.agent, w.server, true, w.lab)
	after := w.stored(t)
	if after.Incarnation == before.Incarnation || after.Seq != before.Seq || after.CompleteThrough != after.Seq {
		t.Errorf("receipt %+v after %+v", after.Statement, before.Statement)
	}
}

// As before, but the restored folder already holds more records than the
// server: the difference is seen by the hash, before anything of it is sent in
// the old chain.
func TestRestoredAgentThatWroteMoreSendsNothingOfIt(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 3, 100)
	w.run(t, w.peer())
	w.agent.Stop(t)
	backup := filepath.Join(t.TempDir(), "backup")
	copyDir(t, w.agent.Dir, backup)
	w.agent.Reopen(t)
	exchangetest.Shots(t, w.agent, w.lab, 1, 100)
	w.run(t, w.peer())
	w.agent.Stop(t)

	w.agent = restored(t, backup, care.OK)
	old := w.agent.Own(w.lab)
	exchangetest.Shots(t, w.agent, w.lab, 4, 100)
	res := w.run(t, w.peer())
	if len(res.Notices) != 1 || problem.Of(res.Notices[0].Err) != problem.Forked || res.Rehomed != 4 || res.RecordsSent != 5 {
		t.Errorf("carried %d records over and sent %d, notices %v, want 4, 5 and one of two histories", res.Rehomed, res.RecordsSent, res.Notices)
	}
	if forks, err := w.server.Forks(t.Context()); err != nil || len(forks) != 0 {
		t.Errorf("the server was sent a second history: %d, %v", len(forks), err)
	}
	exchangetest.Shot(t, w.agent, w.lab, "after", nil)
	w.run(t, w.peer())
	if head, err := w.server.Head(t.Context(), w.agent.Own(w.lab)); err != nil || head.Seq != 6 || w.agent.Own(w.lab) == old {
		t.Errorf("the new chain %v has %d records on the server, %v, want 6", w.agent.Own(w.lab), head.Seq, err)
	}
}

package exchange_test

import (
	"bytes"
	"path/filepath"
	"testing"

	"thudbook/sync/care"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// What is carried over may be as large as records are, and be carried over
// again when the next chain is in doubt too.
func TestLargeRecordsAreCarriedTwice(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	exchangetest.Shots(t, w.agent, w.lab, 1, 100)
	w.run(t, w.peer())
	backup := filepath.Join(t.TempDir(), "backup")
	w.agent.Stop(t)
	copyDir(t, w.agent.Dir, backup)
	w.agent.Reopen(t)
	exchangetest.Shots(t, w.agent, w.lab, 1, 100)
	w.run(t, w.peer())
	w.agent.Stop(t)

	w.agent = restored(t, backup, care.OK)
	large, err := w.agent.Append(t.Context(), w.lab, ledger.Draft{Kind: exchangetest.Kind, Schema: 1, Author: "p1", UID: exchangetest.Lab(t), Body: bytes.Repeat([]byte{0x41}, record.MaxBytes-400)})
	if err != nil {
		t.Fatal(err)
	}
	if res := w.run(t, w.peer()); res.Rehomed != 1 {
		t.Fatalf("%d records were carried over, want 1", res.Rehomed)
	}
	carriers := carriersOn(t, w.server)
	if len(carriers) != 3 {
		t.Fatalf("%d carriers, want 3 parts", len(carriers))
	}
	var raw []byte
	for _, h := range carriers {
		raw = append(raw, h.Raw...)
	}
	if !bytes.Equal(raw, large[0].Raw) {
		t.Error("the record did not come over as it was written")
	}
	exchangetest.Same(t, w.agent, w.server, true, w.lab)
	var stranded []ledger.Evidence
	err = w.agent.View(t.Context(), func(r kv.Reader) (err error) {
		stranded, err = ledger.ScanStranded(r)
		return err
	})
	if err != nil || len(stranded) != 1 || !bytes.Equal(stranded[0].Raw, large[0].Raw) {
		t.Errorf("%d records are kept as they stood, %v", len(stranded), err)
	}
	// The restored chain's successor forks as well.
	two := w.agent.Own(w.lab)
	w.agent.Stop(t)
	again := filepath.Join(t.TempDir(), "again")
	copyDir(t, backup, again)
	w.agent = ledgertest.Open(t, ledgertest.Options{Dir: again})
	if err := w.agent.CloseOwn(t.Context(), record.Origin{Node: two.Node, Lab: two.Lab, Epoch: 1}, "test"); err != nil {
		t.Fatal(err)
	}
	exchangetest.Shots(t, w.agent, w.lab, 2, 100)
	if own := w.agent.Own(w.lab); own != two {
		t.Fatalf("the second restored folder writes to %s, want %s", own, two)
	}
	if res := w.run(t, w.peer()); res.Rehomed != 2 {
		t.Errorf("%d records were carried over, want 2", res.Rehomed)
	}
	w.run(t, w.peer())
	exchangetest.Same(t, w.agent, w.server, true, w.lab)
}

func carriersOn(t *testing.T, l *ledgertest.Ledger) (out []record.Rehomed) {
	t.Helper()
	for r, err := range l.All(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		if r.Kind != record.KindRehomed {
			continue
		}
		var h record.Rehomed
		if err := record.DecodeBody(r.Body, &h); err != nil {
			t.Fatal(err)
		}
		out = append(out, h)
	}
	return out
}

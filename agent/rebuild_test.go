package agent_test

import (
	"log/slog"
	"strings"
	"testing"

	"thudbook/agent"
	"thudbook/sync/home"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/lab/labtest"
)

// A newer version makes the lists anew at its first start: each screen says how far
// that is until it is done, and nobody has to answer an alarm for it.
func TestFirstStartOfANewerVersion(t *testing.T) {
	r := start(t, func(o *agent.Options) {
		h, err := home.Open(t.Context(), home.Options{Dir: o.Data, Software: "test", Log: slog.New(slog.DiscardHandler)})
		if err != nil {
			t.Fatal(err)
		}
		labtest.FillLab(t, h.Ledger, 1_200, labtest.Options{}) // more than is rebuilt before the start
		o.AtOnce = 300
		if err := h.Close(); err != nil {
			t.Fatal(err)
		}
		store, err := boltkv.Open(home.StorePath(o.Data), boltkv.Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer store.Close()
		if err := store.Update(t.Context(), func(tx kv.Tx) error { return tx.Put("ledger.meta", []byte("views"), []byte("ready:other rules")) }); err != nil {
			t.Fatal(err)
		}
	})
	r.page("/next", "Lists and counts are being rebuilt from the records")
	r.until("the lists are whole", func() bool { return !strings.Contains(r.get("/next").body, "being rebuilt") })
	r.page("/overview", "1\u202f200")
	if strings.Contains(r.page("/alarms"), "being rebuilt") {
		t.Error("how far it was is an alarm that waits for an answer")
	}
}

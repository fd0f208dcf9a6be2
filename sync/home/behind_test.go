package home_test

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"thudbook/sync/home"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
)

// A store that a program with other rules wrote: a small one is ready when it is
// open, a large one is open at once and rebuilds its views behind, while records
// come in; in the end both show everything.
func TestViewsOfOtherRulesAreRebuilt(t *testing.T) {
	for _, tc := range []struct {
		shots  int
		behind bool
	}{{300, false}, {700, true}} { // each with a score and more: see labtest.FillLab
		dir := t.TempDir()
		open := func() *home.Home {
			h, err := home.Open(t.Context(), home.Options{Dir: dir, Software: "test", Log: slog.New(slog.DiscardHandler), RebuildAtOnce: 1_000})
			if err != nil {
				t.Fatal(err)
			}
			return h
		}
		h := open()
		l := labtest.FillLab(t, h.Ledger, tc.shots, labtest.Options{})
		if err := h.Close(); err != nil {
			t.Fatal(err)
		}
		store, err := boltkv.Open(home.StorePath(dir), boltkv.Options{})
		if err != nil {
			t.Fatal(err)
		}
		err = store.Update(t.Context(), func(tx kv.Tx) error { return tx.Put("ledger.meta", []byte("views"), []byte("ready:other rules")) })
		if err := closing(err, store); err != nil {
			t.Fatal(err)
		}
		h = open()
		state := h.Ledger.Rebuilding()
		if state.Running != tc.behind || tc.behind && state.Total <= 1_000 {
			t.Errorf("%d shots: when it is open, rebuilding %+v", tc.shots, state)
		}
		late := labtest.Shot(l.Rig, l.Last.Add(time.Hour))
		labtest.Append(t, h.Ledger, l.Lab, labtest.Draft(t, labtest.ID("late"), late)) // is taken meanwhile
		for end := time.Now().Add(2 * time.Minute); h.Ledger.Rebuilding().Running; time.Sleep(5 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("never ready: %+v", h.Ledger.Rebuilding())
			}
		}
		labs, err := h.Views.Reader(h.Store).Labs(t.Context(), scope.All(), 0)
		if err != nil || len(labs) != 1 || labs[0].Shots != int64(tc.shots+1) {
			t.Errorf("the labs %+v, %v; want one with %d shots", labs, err, tc.shots+1)
		}
		if err := h.Close(); err != nil {
			t.Fatal(err)
		}
		if report, err := home.Verify(context.Background(), home.PlaceOf(dir)); err != nil || report.Class() != 0 {
			t.Errorf("%d shots: verify: %v\n%s", tc.shots, err, report)
		}
	}
}

func closing(err error, c interface{ Close() error }) error {
	if e := c.Close(); err == nil {
		return e
	}
	return err
}

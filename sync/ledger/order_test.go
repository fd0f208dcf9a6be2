package ledger_test

import (
	"math"
	"testing"

	"thudbook/sync/ledger"
	"thudbook/sync/problem"
)

// The anchor goes forward only: a later epoch, or a later record of the same one.
func TestAnchorGoesForward(t *testing.T) {
	for _, tc := range []struct {
		a, b ledger.Place
		want bool
	}{
		{ledger.Place{Epoch: 1, Seq: 5}, ledger.Place{Epoch: 1, Seq: 4}, true},
		{ledger.Place{Epoch: 1, Seq: 4}, ledger.Place{Epoch: 1, Seq: 4}, false},
		{ledger.Place{Epoch: 2, Seq: 1}, ledger.Place{Epoch: 1, Seq: 4}, true},
		{ledger.Place{Epoch: 1, Seq: 9}, ledger.Place{Epoch: 2, Seq: 1}, false},
	} {
		if got := tc.a.After(tc.b); got != tc.want {
			t.Errorf("%+v after %+v: %v", tc.a, tc.b, got)
		}
	}
}

// The epoch after a restore lies beyond the clock and beyond the last one.
func TestEpochAfterARestore(t *testing.T) {
	for _, tc := range []struct{ clock, jump, epoch, want uint32 }{
		{100, 7, 5, 100}, {100, 7, 99, 100}, {100, 7, 100, 107}, {100, 7, 200, 207}, {0, 7, 0, 7}, {0, 7, math.MaxUint32 - 8, math.MaxUint32 - 1},
	} {
		if got, err := ledger.Beyond(tc.clock, tc.jump, tc.epoch); err != nil || got != tc.want {
			t.Errorf("%+v: %d, %v", tc, got, err)
		}
	}
	if got, err := ledger.Beyond(0, 7, math.MaxUint32-7); problem.Of(err) != problem.Unavailable {
		t.Errorf("no epoch is left, and there is %d, %v", got, err)
	}
}

// Of two states of an own origin the one holds that writes later epochs.
func TestNewerStateOfAnOwnOrigin(t *testing.T) {
	for _, tc := range []struct {
		name                string
		epoch, next         uint32
		closed              string
		thanEpoch, thanNext uint32
		thanClosed          string
		want                bool
	}{
		{"closed, the next one is later", 3, 9, "set back", 5, 0, "", true},
		{"open, before the next one of a closed", 5, 0, "", 3, 9, "set back", false},
		{"opened after the close", 9, 0, "", 3, 9, "set back", true},
		{"the close, after the opening", 3, 9, "set back", 9, 0, "", false},
		{"the same", 4, 0, "", 4, 0, "", true},
	} {
		if got := ledger.NewerOwn(tc.epoch, tc.next, tc.closed, tc.thanEpoch, tc.thanNext, tc.thanClosed); got != tc.want {
			t.Errorf("%s: %v", tc.name, got)
		}
	}
}

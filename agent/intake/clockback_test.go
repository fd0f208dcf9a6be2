package intake_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"thudbook/agent/intake"
	"thudbook/sync/lab"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// The clock is set back by a year in the middle of a day: recording goes on and
// the order of the records with it; what is dated by another clock is flagged;
// what nobody dates is off by that year without a flag, until a person corrects
// it once the clock is right.
func TestClockSetBackAYear(t *testing.T) {
	right := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	now := right
	w := clocked(t, &now)
	w.submit("a.csv", csv(20), "", now.Add(-time.Minute))
	now = right.AddDate(-1, 0, 0)
	late := right.Add(10 * time.Minute)
	file, fileRow := w.submit("b.csv", csv(21), "", late) // the acquisition's clock is right
	typed, typedRow := w.submit("c.csv", csv(22), `{"fired_at":"2026-05-04T12:15:00Z"}`, time.Time{})
	bare, bareRow := w.submit("d.csv", csv(23), "", time.Time{})
	if n := len(w.flagTexts(file, lab.FlagFileTime)); n != 1 || fileRow.Shot.EffectiveFrom != lab.FromReceived || fileRow.Shot.FileTime != lab.At(late) {
		t.Errorf("a file time ahead: %d flags, from %s, kept as %s", n, fileRow.Shot.EffectiveFrom, fileRow.Shot.FileTime)
	}
	if n := len(w.flagTexts(typed, lab.FlagFiredAt)); n != 1 || typedRow.Shot.EffectiveFrom != lab.FromReceived || typedRow.Shot.FiredAt.Time().Year() != 2026 {
		t.Errorf("a typed time ahead: %d flags, from %s, kept as %s", n, typedRow.Shot.EffectiveFrom, typedRow.Shot.FiredAt)
	}
	for _, r := range []view.ShotRow{fileRow, typedRow, bareRow} {
		if y := r.Shot.EffectiveAt.Time().Year(); y != 2025 {
			t.Errorf("%s is dated %s, want the wrong clock's year", r.Shot.FileName, r.Shot.EffectiveAt)
		}
	}
	if fs := append(w.flagTexts(bare, lab.FlagClock), w.flagTexts(bare, lab.FlagFileTime)...); len(fs) != 0 {
		t.Errorf("a shot that nobody dates is flagged: %q", fs)
	}
	l, err := w.reader().Shots(t.Context(), scope.All(), view.ShotFilter{Arrival: true, Oldest: true}, view.Page{Limit: 9})
	w.must(err)
	var order []string
	for i := range l.Rows {
		order = append(order, l.Rows[i].Shot.FileName)
	}
	if len(order) != 4 || order[0] != "a.csv" || order[1] != "b.csv" || order[2] != "c.csv" || order[3] != "d.csv" {
		t.Errorf("in the order of arrival: %v", order)
	}
}

// Shots that are taken in after the clock was set say so, until it is set back
// to what it was, or a day at the rig is over.
func TestShotsAfterTheClockWasSet(t *testing.T) {
	start := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	now, counted := start, time.Duration(0)
	at := func() time.Time { return now }
	w := newWorld(t, ledgertest.Options{Now: at}, func(o *intake.Options) {
		o.Now, o.Counted = at, func() time.Duration { return counted }
	})
	for i, step := range []struct {
		pass, set time.Duration // what goes by, and by how much the clock is set besides
		want      string        // "": no flag
	}{
		{time.Minute, 0, ""},
		{time.Minute, time.Hour, "was set forward by 1h0m0s before this file came"},
		{time.Minute, 0, "was set forward by 1h0m0s"},
		{time.Minute, -time.Hour, ""},
		{time.Minute, -10 * time.Minute, "was set back by 10m0s"},
		{11 * time.Hour, 0, "was set back by 10m0s"},
		{2 * time.Hour, 0, ""},
	} {
		now, counted = now.Add(step.pass+step.set), counted+step.pass
		out, row := w.submit(fmt.Sprintf("%d.csv", i), csv(20+float64(i)), "", time.Time{})
		texts := w.flagTexts(out, lab.FlagClockStepped)
		if step.want == "" && len(texts) != 0 || step.want != "" && (len(texts) != 1 || !strings.Contains(texts[0], step.want)) {
			t.Errorf("shot %d: %q, want %q", i, texts, step.want)
		}
		if row.Figures == nil || slices.Contains(row.Figures.Flags, lab.FlagClockStepped) != (step.want != "") {
			t.Errorf("shot %d: a list has the flags %+v", i, row.Figures)
		}
	}
}

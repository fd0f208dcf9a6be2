package desk

import (
	"testing"
	"time"

	"thudbook/web/httpkit"
)

// What clocks never show is a fault, what they show twice is the first of both.
// Summer time in Berlin by tzdata: 2026-03-29 and 2026-10-25, at 01:00 UTC.
func TestTimesAsClocksShowThem(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 1, 1, 0, 0, 0, 0, berlin)
	d := &Desk{zone: berlin, Options: Options{Now: func() time.Time { return now }}}
	for _, x := range []struct{ text, utc string }{
		{"2026-03-29T01:59", "2026-03-29T00:59:00Z"},
		{"2026-03-29T02:30", ""},
		{"2026-03-29T03:00", "2026-03-29T01:00:00Z"},
		{"2026-10-25T02:30", "2026-10-25T00:30:00Z"},
		{"2026-10-25T02:30:15", "2026-10-25T00:30:15Z"},
		{"2026-10-25T03:00", "2026-10-25T02:00:00Z"},
		{"2025-12-31T23:00", ""}, // over
	} {
		f := &httpkit.Filled{Values: map[string]string{"from": "2026-01-02T08:00", "to": x.text}, Errors: map[string]string{}}
		_, to := d.bookedTimes(f)
		if x.utc == "" {
			if f.OK() {
				t.Errorf("%s is taken as %s", x.text, to)
			}
			continue
		}
		if got := to.Time().Format(time.RFC3339); !f.OK() || got != x.utc {
			t.Errorf("%s is %s, want %s; %v", x.text, got, x.utc, f.Errors)
		}
	}
}

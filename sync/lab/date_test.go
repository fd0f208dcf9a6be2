package lab_test

import (
	"testing"
	"time"
	_ "time/tzdata" // the zones below, wherever the test runs

	"thudbook/sync/lab"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// The days of a certificate read the same in any zone, in whichever they were
// typed: at the ends of the map, and where summer time skips a midnight.
func TestDaysReadAsTheyWereTyped(t *testing.T) {
	spans := [][2]lab.Date{{{2026, 3, 14}, {2027, 3, 14}}, {{2025, 12, 31}, {2026, 6, 30}}, {{2026, 7, 1}, {2026, 12, 31}}, {{2026, 2, 28}, {2028, 2, 29}},
		{{2024, 9, 8}, {2025, 9, 7}}, {{2019, 4, 7}, {2024, 4, 7}}} // Santiago has no midnight on the first Sunday after 2 September
	for _, name := range []string{"Pacific/Auckland", "Pacific/Honolulu", "Asia/Kolkata", "UTC", "America/New_York", "Europe/Berlin", "Pacific/Chatham",
		"Pacific/Kiritimati", "Pacific/Pago_Pago", "America/Santiago", "Asia/Kathmandu", "America/St_Johns"} {
		z := zone(t, name)
		for _, s := range spans {
			k := lab.Calibration{EffectiveAt: s[0].StartOf(z), DueAt: s[1].EndOf(z)}
			if on, due := k.Days(); on != s[0] || due != s[1] {
				t.Errorf("%s: certificate of %s to %s reads as %s to %s", name, s[0], s[1], on, due)
			}
			c := lab.Campaign{StartsAt: s[0].StartOf(z), EndsAt: s[1].EndOf(z) + 1}
			if first, last := c.Days(); first != s[0] || last != s[1] || lab.DayFrom(c.StartsAt) != s[0] {
				t.Errorf("%s: campaign from %s to %s reads as %s (%s) to %s", name, s[0], s[1], first, lab.DayFrom(c.StartsAt), last)
			}
			if got := lab.DateOf(s[0].In(z)); got != s[0] {
				t.Errorf("%s: %s begins on %s", name, s[0], got)
			}
			if at := s[0].StartOf(z).Time().In(z).Sub(s[0].In(z)).Abs(); at > time.Hour {
				t.Errorf("%s: %s begins %s off", name, s[0], at)
			}
		}
	}
}

// What programs of before kept, a local midnight and the last millisecond of a
// local day, reads the same; so does what a program states to the second. A span
// that ends within a day is no typed one: its days are those of UTC.
func TestDaysOfWhatWasKeptBefore(t *testing.T) {
	for _, c := range []struct{ from, to, on, due string }{
		{"2026-03-14T00:00:00+13:00", "2027-03-14T23:59:59.999+13:00", "2026-03-14", "2027-03-14"},
		{"2026-07-01T00:00:00+12:00", "2027-01-31T23:59:59.999+13:00", "2026-07-01", "2027-01-31"}, // summer time began between
		{"2026-01-31T00:00:00+13:00", "2026-07-01T23:59:59.999+12:00", "2026-01-31", "2026-07-01"}, // and ended
		{"2026-03-14T00:00:00-10:00", "2027-03-14T23:59:59.999-10:00", "2026-03-14", "2027-03-14"},
		{"2026-03-14T00:00:00+05:30", "2027-03-14T23:59:59.999+05:30", "2026-03-14", "2027-03-14"},
		{"2026-03-14T00:00:00Z", "2027-03-14T23:59:59Z", "2026-03-14", "2027-03-14"},
		{"2026-03-14T14:20:00Z", "2027-03-14T23:59:59Z", "2026-03-14", "2027-03-14"},
		{"2026-03-14T14:20:00Z", "2027-03-14T14:20:00Z", "2026-03-14", "2027-03-14"},
		{"2026-03-14T00:00:00Z", "2027-03-14T00:00:00Z", "2026-03-14", "2027-03-14"},
	} {
		at := func(text string) (v lab.Time) {
			if err := v.UnmarshalJSON([]byte(`"` + text + `"`)); err != nil {
				t.Fatal(err)
			}
			return v
		}
		k := lab.Calibration{EffectiveAt: at(c.from), DueAt: at(c.to)}
		if on, due := k.Days(); on.String() != c.on || due.String() != c.due {
			t.Errorf("%s to %s reads as %s to %s", c.from, c.to, on, due)
		}
	}
	if first, last := (&lab.Campaign{}).Days(); first != (lab.Date{}) || last != (lab.Date{}) {
		t.Errorf("a campaign without days has %s to %s", first, last)
	}
}

package present_test

import (
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// A day on which clocks change has 23 or 25 hours, and a booking over it as many
// as pass. Summer time in Berlin by tzdata: 2026-03-29 and 2026-10-25, at 01:00 UTC.
func TestWeekOverClockChange(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ sunday, word, times, strip, booked, total, tick string }{
		{"2026-03-29", "23\u00a0h long: clocks go forward", "00:00 to 06:00 +02:00", "21.74%", "5\u00a0h booked", "7\u00a0h", "21.74%"},
		{"2026-10-25", "25\u00a0h long: clocks go back", "00:00 to 06:00 +01:00", "28.00%", "7\u00a0h booked", "9\u00a0h", "28.00%"},
	} {
		sunday, err := time.ParseInLocation(time.DateOnly, x.sunday, berlin)
		if err != nil {
			t.Fatal(err)
		}
		monday := present.WeekOf(sunday.Add(15 * time.Hour))
		if want := sunday.AddDate(0, 0, -6); !monday.Equal(want) {
			t.Fatalf("the week of %s begins %s", x.sunday, monday)
		}
		// From 22:00 on the evening before to 06:00.
		b := lab.Booking{Rig: labtest.ID("rig"), Department: "Endurance", From: lab.At(sunday.Add(-2 * time.Hour)), To: lab.At(time.Date(sunday.Year(), sunday.Month(), sunday.Day(), 6, 0, 0, 0, berlin))}
		s := &page.Calendar{}
		k := present.Calendar{Now: sunday.Add(3 * time.Hour)}
		k.Fill(s, monday, []view.BookingRow{{Head: view.Head{ID: labtest.ID("b")}, Booking: b}})
		saturday, day := s.Days[5], s.Days[6]
		if saturday.Changes != "" || saturday.Booked != "2\u00a0h booked" || saturday.Today || saturday.Rows[0].Times != "22:00 to 24:00" || saturday.Rows[0].Goes != "until "+x.sunday+" 06:00" {
			t.Errorf("%s: Saturday is %+v", x.sunday, saturday)
		}
		if day.Changes != x.word || day.Booked != x.booked || !day.Today || !day.Rows[0].Now || day.Rows[0].Times != x.times || day.Strip[0].Width != x.strip || day.Ticks[0].At != x.tick {
			t.Errorf("%s: Sunday is %+v", x.sunday, day)
		}
		if s.Total != x.total || s.Days[0].Booked != "free" {
			t.Errorf("%s: %s in all", x.sunday, s.Total)
		}
	}
}

// Each clash is told once, with both names and times; an hour that two want is
// booked once.
func TestWeekTellsClashes(t *testing.T) {
	monday := time.Date(2026, 11, 23, 0, 0, 0, 0, time.UTC)
	row := func(name string, from, to int) view.BookingRow {
		return view.BookingRow{Head: view.Head{ID: labtest.ID(name)}, Booking: lab.Booking{Rig: labtest.ID("rig"), Department: name, From: lab.At(monday.Add(time.Duration(from) * time.Hour)), To: lab.At(monday.Add(time.Duration(to) * time.Hour))}}
	}
	a, b, c := row("A", 8, 12), row("B", 8, 10), row("C", 30, 31)
	a.Clashes, b.Clashes = []view.BookingRow{b}, []view.BookingRow{a}
	s := &page.Calendar{}
	(&present.Calendar{Now: monday}).Fill(s, monday, []view.BookingRow{b, a, c})
	if len(s.Clashes) != 1 || !strings.Contains(s.Clashes[0], "2026-11-23 08:00 to 12:00") || !strings.Contains(s.Clashes[0], "2026-11-23 08:00 to 10:00") {
		t.Errorf("clashes %q", s.Clashes)
	}
	if s.Days[0].Booked != "4\u00a0h booked" || s.Total != "5\u00a0h" || s.Days[0].Rows[0].Clash != "A" || s.Days[0].Rows[1].Clash != "B" || s.Days[1].Rows[0].Clash != "" {
		t.Errorf("Monday %+v, %s in all", s.Days[0], s.Total)
	}
	// ISO 8601: 2026-11-23 begins week 48.
	if s.Week != "Week 48 of 2026, 2026-11-23 to 2026-11-29" {
		t.Error(s.Week)
	}
}

package present

import (
	"math"
	"strconv"
	"strings"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// WeekOf gives the first instant of the Monday of a time's week (ISO 8601), in
// the time's zone.
func WeekOf(t time.Time) time.Time {
	back := (int(t.Weekday()) + 6) % 7
	return time.Date(t.Year(), t.Month(), t.Day()-back, 0, 0, 0, 0, t.Location())
}

// WeekWords names a week by its number (ISO 8601) and its days.
func WeekWords(monday time.Time) string {
	year, n := monday.ISOWeek()
	return "Week " + strconv.Itoa(n) + " of " + strconv.Itoa(year) + ", " + monday.Format(time.DateOnly) + " to " + monday.AddDate(0, 0, 6).Format(time.DateOnly)
}

// Calendar makes the days of a rig's calendar.
type Calendar struct {
	Now  time.Time                     // in the zone to show
	Href func(*view.BookingRow) string // nil: no links
}

// Fill puts the bookings of a week, by their beginning, on the screen.
func (k *Calendar) Fill(s *page.Calendar, monday time.Time, rows []view.BookingRow) {
	s.Week = WeekWords(monday)
	s.Days, s.Clashes = nil, nil
	total := lab.Time(0)
	for i := range 7 {
		d, taken := k.day(monday.AddDate(0, 0, i), rows)
		s.Days = append(s.Days, d)
		total += taken
	}
	s.Total = Hours(total)
	from, to := lab.At(monday), lab.At(monday.AddDate(0, 0, 7))
	for i := range rows {
		r := &rows[i]
		if b := &r.Booking; r.Stands() && b.Within(from, to) {
			s.Clashes = append(s.Clashes, k.clashes(r)...)
		}
	}
}

// Hours words a length of time in hours, to a hundredth.
func Hours(t lab.Time) string {
	return strconv.FormatFloat(math.Round(float64(t)/36_000)/100, 'f', -1, 64) + "\u00a0h"
}

// Clashes words the clashes of bookings, each once.
func (k *Calendar) Clashes(rows []view.BookingRow) (out []string) {
	for i := range rows {
		out = append(out, k.clashes(&rows[i])...)
	}
	return out
}

// clashes words the clashes of a booking with those that come after it, so that
// each is told once.
func (k *Calendar) clashes(r *view.BookingRow) (out []string) {
	zone := k.Now.Location()
	for i := range r.Clashes {
		o := &r.Clashes[i]
		if o.Booking.From < r.Booking.From || o.Booking.From == r.Booking.From && strings.Compare(o.ID.String(), r.ID.String()) < 0 {
			continue
		}
		out = append(out, r.Booking.By()+", "+r.Booking.Times(zone)+", and "+o.Booking.By()+", "+o.Booking.Times(zone))
	}
	return out
}

// day makes one day, and how much of it is booked. Hours are those that pass on it: 23 or 25 where clocks change.
func (k *Calendar) day(midnight time.Time, rows []view.BookingRow) (page.CalendarDay, lab.Time) {
	next := midnight.AddDate(0, 0, 1)
	d := page.CalendarDay{Date: midnight, Today: !k.Now.Before(midnight) && k.Now.Before(next)}
	from, to := lab.At(midnight), lab.At(next)
	offset := to-from != lab.DayMS
	switch {
	case to-from < lab.DayMS:
		d.Changes = Hours(to-from) + " long: clocks go forward"
	case offset:
		d.Changes = Hours(to-from) + " long: clocks go back"
	}
	percent := func(t lab.Time) float64 { return 100 * float64(t-from) / float64(to-from) }
	var taken lab.Time // up to which time of the day is counted
	ms := lab.Time(0)
	for i := range rows {
		r := &rows[i]
		b := &r.Booking
		if !r.Stands() || !b.Within(from, to) {
			continue
		}
		first, last := max(b.From, from), min(b.To, to)
		ms += max(0, last-max(first, taken)) // an hour that two want is booked once
		taken = max(taken, last)
		d.Strip = append(d.Strip, page.StripPart{From: percentText(percent(first)), Width: percentText(percent(last) - percent(first)), Clash: len(r.Clashes) > 0})
		d.Rows = append(d.Rows, k.row(r, midnight, next, offset))
	}
	if d.Booked = "free"; ms > 0 {
		d.Booked = Hours(ms) + " booked"
	}
	for h := 6; h < 24; h += 6 {
		at := time.Date(midnight.Year(), midnight.Month(), midnight.Day(), h, 0, 0, 0, midnight.Location())
		d.Ticks = append(d.Ticks, page.StripTick{At: percentText(percent(lab.At(at))), Text: strconv.Itoa(h)})
	}
	return d, ms
}

func percentText(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) + "%" }

func (k *Calendar) row(r *view.BookingRow, midnight, next time.Time, offset bool) page.CalendarRow {
	b, zone := &r.Booking, k.Now.Location()
	from, to := b.From.Time().In(zone), b.To.Time().In(zone)
	now := lab.At(k.Now)
	x := page.CalendarRow{Department: b.Department, Project: b.Project, Who: b.Who, Note: b.Note, Now: b.From <= now && now < b.To}
	if k.Href != nil {
		x.Href = k.Href(r)
	}
	clock := func(t time.Time) string {
		if offset {
			return t.Format("15:04") + " " + page.Zone(t)
		}
		return t.Format("15:04")
	}
	begins, ends := "00:00", "24:00"
	if !from.Before(midnight) {
		begins = clock(from)
	} else {
		x.Goes = "since " + from.Format("2006-01-02 15:04")
	}
	if !to.After(next) && !to.Equal(next) {
		ends = clock(to)
	} else if to.After(next) {
		if x.Goes != "" {
			x.Goes += ", "
		}
		x.Goes += "until " + to.Format("2006-01-02 15:04")
	}
	x.Times = begins + " to " + ends
	x.Clash = ClashWith(r)
	return x
}

// ClashWith names those that a booking clashes with; "" with none.
func ClashWith(r *view.BookingRow) string {
	var names []string
	for i := range r.Clashes {
		names = append(names, r.Clashes[i].Booking.By())
	}
	return strings.Join(names, "; ")
}

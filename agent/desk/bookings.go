package desk

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

const (
	// bookedSoon is how far ahead Next tells that somebody has booked the rig.
	bookedSoon = 8 * time.Hour
	// mostBooked is how many of these it tells.
	mostBooked = 3
)

// bookedNotices say who has booked the rig now and within the next hours,
// besides the department of the campaign that is followed. They stop nothing:
// where they cannot be read, the screen does without.
func (d *Desk) bookedNotices(ctx context.Context, campaign string) (out []page.Notice) {
	now := time.Now()
	rows, err := d.read.Bookings(ctx, d.scope(), view.BookingFilter{From: lab.At(now), To: lab.At(now.Add(bookedSoon)), Rig: d.Intake.Rig()})
	if err != nil {
		d.Log.Error("bookings of the rig", "error", err)
		return nil
	}
	own := ""
	if id, err := uuid.Parse(campaign); err == nil {
		if k, err := d.read.Campaign(ctx, d.scope(), id); err == nil {
			own = lab.Fold(k.Campaign.Owner)
		}
	}
	more := 0
	for i := range rows {
		r := &rows[i]
		if own != "" && lab.Fold(r.Booking.Department) == own {
			continue
		}
		if len(out) == mostBooked {
			more++
			continue
		}
		out = append(out, bookedNotice(r, now))
	}
	if n := len(out); n > 0 {
		out[n-1].Link, out[n-1].Href = "Bookings of this week", page.PathCalendar
		if more > 0 {
			out[n-1].Fix += " " + fmt.Sprintf("%d more in these hours.", more)
		}
	}
	return out
}

func bookedNotice(r *view.BookingRow, now time.Time) page.Notice {
	b := &r.Booking
	from, to := b.From.Time().Local(), b.To.Time().Local()
	clock := func(t time.Time) string {
		if t.Format(time.DateOnly) == now.Format(time.DateOnly) {
			return t.Format("15:04")
		}
		return t.Format("2006-01-02 15:04")
	}
	n := page.Notice{Level: page.Plain, Text: "Booked from " + clock(from) + " to " + clock(to) + " by " + b.By() + ".", Fix: "You can go on; agree with them."}
	if !from.After(now) {
		n.Text = "Booked now, until " + clock(to) + ", by " + b.By() + "."
	}
	if with := present.ClashWith(r); with != "" {
		n.Level = page.Warn
		n.Text += " It clashes with the booking of " + with + "."
	}
	return n
}

// bookings shows a week of this rig. Nothing is booked here.
func (d *Desk) bookings(c echo.Context) error {
	ctx := c.Request().Context()
	now := time.Now()
	rig := d.Intake.Rig()
	s := page.Calendar{Frame: d.frame(c, "Bookings of this rig", page.PathRig), Rig: rig.String(), Day: cmp.Or(c.QueryParam("day"), now.Format(time.DateOnly)), RigName: d.Options.Rig(),
		ReadOnly: "The rig is booked on the server, by everybody with a role in the lab. What was entered there is here after the next exchange."}
	day, err := time.ParseInLocation(time.DateOnly, s.Day, time.Local)
	if err != nil || day.Year() < 1970 || day.Year() > 2200 {
		s.Bad = "“" + s.Day + "” is not a date that can be shown. Write it as " + now.Format(time.DateOnly) + "."
		return httpkit.Page(c, http.StatusUnprocessableEntity, s)
	}
	monday := present.WeekOf(day)
	rows, err := d.read.Bookings(ctx, d.scope(), view.BookingFilter{From: lab.At(monday), To: lab.At(monday.AddDate(0, 0, 7)), Rig: rig})
	if err != nil {
		return err
	}
	(&present.Calendar{Now: now}).Fill(&s, monday, rows)
	week := func(t time.Time) string { return page.PathCalendar + "?day=" + t.Format(time.DateOnly) }
	s.Earlier, s.This, s.Later = week(monday.AddDate(0, 0, -7)), week(now), week(monday.AddDate(0, 0, 7))
	return httpkit.Page(c, http.StatusOK, s)
}

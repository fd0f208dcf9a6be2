package desk

import (
	"bytes"
	"cmp"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/feed"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// The span of a feed of bookings around now.
const (
	fedBefore = 31 * 24 * time.Hour
	fedAfter  = 366 * 24 * time.Hour
)

// bookingFeed gives the bookings of the labs of a secret link's account as an
// iCalendar stream; with rig, those of one rig. Cancelled ones stay in it, so
// that a calendar program takes them off.
func (d *Desk) bookingFeed(c echo.Context) error {
	ctx := c.Request().Context()
	sc, err := d.scopeOf(ctx, c.Param("token"))
	if err != nil {
		return err
	}
	now := d.Now()
	f := view.BookingFilter{From: lab.At(now.Add(-fedBefore)), To: lab.At(now.Add(fedAfter)), Cancelled: true}
	name := cmp.Or(d.Name, "Thudbook") + ", bookings"
	rigs, err := d.rigNames(ctx, sc)
	if err != nil {
		return err
	}
	if text := c.QueryParam("rig"); text != "" {
		f.Rig, err = uuid.Parse(text)
		if err != nil || rigs[f.Rig] == "" {
			return problem.New(problem.NotFound, "There is no such rig.", "Take the link from the rig's calendar again.")
		}
		name = rigs[f.Rig] + ", bookings"
	}
	rows, err := d.Views.Bookings(ctx, sc, f)
	if err != nil {
		return err
	}
	events := make([]feed.Event, 0, len(rows))
	for i := range rows {
		events = append(events, bookingEvent(&rows[i], rigName(rigs, rows[i].Booking.Rig), d.base(c)))
	}
	var b bytes.Buffer
	if err := feed.Calendar(&b, "Bookings", name, now, events); err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
	return c.Blob(http.StatusOK, "text/calendar; charset=utf-8", b.Bytes())
}

func bookingEvent(r *view.BookingRow, rig, base string) feed.Event {
	b := &r.Booking
	e := feed.Event{UID: "booking-" + r.ID.String() + "@thudbook", From: b.From.Time(), To: b.To.Time(), Cancelled: !r.Stands(),
		Summary: rig + ": " + b.Department, URL: base + page.BookingPath(r.ID.String())}
	line := func(label, text string) {
		if text != "" {
			if e.Description != "" {
				e.Description += "\n"
			}
			e.Description += label + text
		}
	}
	line("Project: ", b.Project)
	line("Ask: ", b.Who)
	line("", b.Note)
	if with := present.ClashWith(r); with != "" {
		e.Summary += " (clash)"
		line("Clashes with ", with)
	}
	if e.Cancelled {
		line("Cancelled: ", r.Withdrawn.Reason)
	}
	return e
}

package desk

import (
	"bytes"
	"context"
	"encoding/csv"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// booked is a booking with its rig.
type booked struct {
	row   view.BookingRow
	rig   view.RigRow
	in    roster.Place
	title string // of the lab
}

func (d *Desk) booked(c echo.Context, p *caller) (b booked, err error) {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return b, notFound("booking")
	}
	ctx := c.Request().Context()
	if b.row, err = d.Views.Booking(ctx, p.Scope, id); err != nil {
		return b, err
	}
	b.rig, b.in, b.title, err = d.rigOf(ctx, p, b.row.Booking.Rig)
	return b, err
}

func (d *Desk) booking(c echo.Context) error { return d.bookingPage(c, "", nil, http.StatusOK) }

func (d *Desk) bookingPage(c echo.Context, posted string, typed *httpkit.Filled, status int) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	b, err := d.booked(c, &p)
	if err != nil {
		return err
	}
	who, err := d.authors(c.Request().Context(), p.Scope)
	if err != nil {
		return err
	}
	x := &b.row.Booking
	from, to := x.From.Time().In(d.zone), x.To.Time().In(d.zone)
	s := page.Booking{Frame: d.frame(&p, "Booking", page.PathCalendar), RigName: b.rig.Rig.Name, Lab: b.title, Week: page.WeekPath(x.Rig.String(), from.Format(time.DateOnly)),
		From: from, To: to, Length: present.Hours(x.To - x.From), Department: x.Department, Project: x.Project, Who: x.Who, Note: x.Note, Anyway: x.Anyway,
		MadeBy: who(b.row.Author), MadeAt: b.row.RecordedAt.In(d.zone), State: bookingState(&b.row, lab.At(d.Now()))}
	if x.Instead != nil {
		s.Instead = page.BookingPath(x.Instead.String())
	}
	for i := range b.row.Clashes {
		o := &b.row.Clashes[i]
		s.Clashes = append(s.Clashes, page.CalendarRow{Href: page.BookingPath(o.ID.String()), Times: o.Booking.Times(d.zone), Department: o.Booking.Department, Project: o.Booking.Project, Who: o.Booking.Who})
	}
	switch m := b.row.Withdrawn; {
	case m != nil:
		s.Reason, s.CancelledBy = m.Reason, who(m.Author)
	case register.MayFree(p.Principal, b.in.ID, &b.row):
		d.bookingForms(&s, b.row.ID.String(), from, to)
	}
	if typed != nil {
		d.again(&s, posted, typed)
	}
	return httpkit.Page(c, status, s)
}

func (d *Desk) bookingForms(s *page.Booking, id string, from, to time.Time) {
	move := httpkit.Blank(page.MoveFields(), page.BookingPath(id)+"/move", "move", "Move")
	move.Values = map[string]string{"from": from.Format(minuteLayout), "to": to.Format(minuteLayout)}
	cancel := httpkit.Blank(page.ReasonFields(), page.BookingPath(id)+"/cancel", "cancel", "Cancel the booking")
	s.Move, s.Cancel = &move, &cancel
}

// again shows a form of the booking with what is wrong with it, also where it is
// not offered any more because somebody else was faster.
func (d *Desk) again(s *page.Booking, posted string, typed *httpkit.Filled) {
	placed := false
	for _, f := range []*page.Form{s.Move, s.Cancel} {
		if f != nil && f.Action == posted {
			typed.Into(f)
			placed = true
		}
	}
	for field, text := range typed.Errors {
		if !placed {
			s.Notices = append(s.Notices, page.Notice{Level: page.Bad, Text: "Not saved, " + strings.ReplaceAll(field, "_", " ") + ": " + text})
		}
	}
	s.Notices = append(s.Notices, typed.Other...)
}

func bookingState(r *view.BookingRow, now lab.Time) page.Status {
	switch {
	case !r.Stands():
		return page.Status{Level: page.Plain, Word: "cancelled"}
	case len(r.Clashes) > 0:
		return page.Status{Level: page.Bad, Word: "clash"}
	case r.Booking.To <= now:
		return page.Status{Level: page.Plain, Word: "over"}
	case r.Booking.From <= now:
		return page.Status{Level: page.OK, Word: "running"}
	}
	return page.Status{Level: page.OK, Word: "booked"}
}

// aboutBooking runs a form of a booking's screen; do gives the booking to lead to.
func (d *Desk) aboutBooking(c echo.Context, what string, fields []page.Field, done string, do func(context.Context, *caller, *booked, *httpkit.Filled) (uuid.UUID, error)) error {
	return d.post(c, fields, func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		b, err := d.booked(c, &p)
		if err != nil {
			return "", err
		}
		if !register.MayFree(p.Principal, b.in.ID, &b.row) {
			return "", problem.New(problem.Forbidden, "Somebody else made this booking.", "Ask who made it, or the lab's manager, to cancel or move it.")
		}
		to, err := do(ctx, &p, &b, f)
		if err != nil || !f.OK() {
			return "", err
		}
		return d.toWeek(ctx, b.in, to, done)
	}, func(c echo.Context, f *httpkit.Filled, status int) error {
		return d.bookingPage(c, page.BookingPath(c.Param("id"))+"/"+what, f, status)
	})
}

func (d *Desk) moveBooking(c echo.Context) error {
	return d.aboutBooking(c, "move", page.MoveFields(), "moved", func(ctx context.Context, p *caller, b *booked, f *httpkit.Filled) (uuid.UUID, error) {
		from, to := d.bookedTimes(f)
		if !f.OK() {
			return uuid.Nil, nil
		}
		next := lab.Booking{From: from, To: to}
		return d.Register.MoveBooking(ctx, p.Principal, b.in, b.row.ID, from, to, f.Values["anyway"], "moved to "+next.Times(d.zone))
	})
}

func (d *Desk) cancelBooking(c echo.Context) error {
	return d.aboutBooking(c, "cancel", page.ReasonFields(), "cancelled", func(ctx context.Context, p *caller, b *booked, f *httpkit.Filled) (uuid.UUID, error) {
		if !f.OK() {
			return uuid.Nil, nil
		}
		return b.row.ID, d.Register.CancelBooking(ctx, p.Principal, b.in, b.row.ID, f.Values["reason"])
	})
}

// bookingsCSVPath is the bookings of a lab or rig from a first to a last day.
func bookingsCSVPath(in, rig string, first, last time.Time) string {
	return page.PathCalendar + ".csv?" + url.Values{"lab": {in}, "rig": {rig}, "from": {first.Format(time.DateOnly)}, "to": {last.Format(time.DateOnly)}}.Encode()
}

// mostBookedDays bounds what one file of bookings spans.
const mostBookedDays = 400

// bookingsCSV writes the bookings of some days, cancelled ones too.
func (d *Desk) bookingsCSV(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	sc, f := p.Scope, view.BookingFilter{Cancelled: true}
	if text := c.QueryParam("lab"); text != "" {
		in, err := d.place(ctx, &p, text)
		if err != nil {
			return err
		}
		sc = in.Scope
	}
	if text := c.QueryParam("rig"); text != "" {
		if f.Rig, err = uuid.Parse(text); err != nil {
			return notFound("rig")
		}
	}
	if f.From, f.To, err = d.spanOf(c); err != nil {
		return err
	}
	rows, err := d.Views.Bookings(ctx, sc, f)
	if err != nil {
		return err
	}
	rigs, err := d.rigNames(ctx, sc)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	lines := present.BookingLines(rows, d.zone, func(id uuid.UUID) string { return rigName(rigs, id) }, func(r *view.BookingRow) string { return d.labName(ctx, &p, r.Lab) })
	if err := w.WriteAll(lines); err != nil {
		return err
	}
	return download(c, "bookings.csv", b.Bytes())
}

// spanOf reads the first and the last day that a list of bookings is asked for.
func (d *Desk) spanOf(c echo.Context) (from, to lab.Time, err error) {
	var day [2]time.Time
	for i, name := range []string{"from", "to"} {
		day[i], err = time.ParseInLocation(time.DateOnly, c.QueryParam(name), d.zone)
		if err != nil || day[i].Year() < 1970 || day[i].Year() > 2200 {
			return 0, 0, &problem.Error{Code: problem.Invalid, Where: name, What: "“" + c.QueryParam(name) + "” is not a date.", Fix: "Write the first and the last day as 2026-03-31.", Err: err}
		}
	}
	if end := day[1].AddDate(0, 0, 1); end.After(day[0]) && end.Before(day[0].AddDate(0, 0, mostBookedDays)) {
		return lab.At(day[0]), lab.At(end), nil
	}
	return 0, 0, &problem.Error{Code: problem.Invalid, Where: "to", What: "The last day is before the first, or more than a year after it.", Fix: "Ask for at most a year at a time."}
}

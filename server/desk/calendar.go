package desk

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// calendarRoutes adds the calendar of the rigs.
func (d *Desk) calendarRoutes(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET(page.PathCalendar, d.week, in)
	e.POST(page.PostBooking, d.postBooking, in)
	e.GET(page.PathCalendar+".csv", d.bookingsCSV, in)
	e.GET(page.PathCalendar+"/:id", d.booking, in)
	e.POST(page.PathCalendar+"/:id/move", d.moveBooking, in)
	e.POST(page.PathCalendar+"/:id/cancel", d.cancelBooking, in)
}

// rigOf gives a rig, its lab, and the lab's name.
func (d *Desk) rigOf(ctx context.Context, p *caller, id uuid.UUID) (r view.RigRow, in roster.Place, title string, err error) {
	if r, err = d.Views.Rig(ctx, p.Scope, id); err != nil {
		return r, in, "", err
	}
	text, err := d.realLab(ctx, p, r.Lab)
	if err != nil {
		return r, in, "", err
	}
	if in, err = d.Roster.Find(ctx, p.Scope, text); err != nil {
		return r, in, "", err
	}
	title, err = p.names.Of(ctx, r.Lab)
	return r, in, title, err
}

// everyRig lists the rigs of the labs that a person sees, and those that they
// may book.
func (d *Desk) everyRig(ctx context.Context, p *caller) (seen, may []page.Choice, err error) {
	err = d.eachKept(ctx, p, p.names.All(), func(in roster.Place, suffix string) error {
		some, err := d.rigChoices(ctx, in, suffix)
		seen = append(seen, some...)
		if p.MayBook(in.ID) {
			may = append(may, some...)
		}
		return err
	})
	return seen, may, err
}

func (d *Desk) week(c echo.Context) error { return d.weekPage(c, nil, http.StatusOK) }

// weekPage shows the week that was asked for, or that of a form with faults.
func (d *Desk) weekPage(c echo.Context, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	now := d.Now().In(d.zone)
	s := page.Calendar{Frame: d.frame(&p, "Calendar", page.PathCalendar), Rig: c.QueryParam("rig"), Day: cmp.Or(c.QueryParam("day"), now.Format(time.DateOnly))}
	said(c, &s.Frame, map[string]string{"booked": "The rig is booked.", "clash": "The rig is booked, and the booking clashes with another one.", "moved": "The booking was moved.", "cancelled": "The booking was cancelled."})
	seen, may, err := d.everyRig(ctx, &p)
	if err != nil {
		return err
	}
	if len(seen) > 1 {
		s.Rigs = seen
	}
	if typed != nil {
		s.Rig = typed.Values["rig"]
		if t := (&httpkit.Filled{Values: typed.Values, Errors: map[string]string{}}).Moment("from", now); !t.IsZero() {
			s.Day = t.Format(time.DateOnly)
		}
	}
	if s.Rig == "" || typed != nil && !slices.ContainsFunc(seen, func(x page.Choice) bool { return x.Value == s.Rig }) {
		if s.Rig = ""; len(seen) > 0 {
			s.Rig = seen[0].Value
		}
	}
	day, err := time.ParseInLocation(time.DateOnly, s.Day, d.zone)
	if err != nil || day.Year() < 1970 || day.Year() > 2200 {
		s.Bad = "“" + s.Day + "” is not a date that can be shown. Write it as " + now.Format(time.DateOnly) + "."
		return httpkit.Page(c, http.StatusUnprocessableEntity, s)
	}
	if s.Rig == "" {
		return httpkit.Page(c, status, s)
	}
	if err := d.fillWeek(ctx, &p, &s, present.WeekOf(day), may); err != nil {
		return err
	}
	if typed != nil {
		if s.Form != nil {
			typed.Into(s.Form)
		}
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

// fillWeek puts a week of a rig on the screen, with the form to book.
func (d *Desk) fillWeek(ctx context.Context, p *caller, s *page.Calendar, monday time.Time, may []page.Choice) error {
	id, err := uuid.Parse(s.Rig)
	if err != nil {
		return notFound("rig")
	}
	rig, in, title, err := d.rigOf(ctx, p, id)
	if err != nil {
		return err
	}
	now := d.Now().In(d.zone)
	s.RigName, s.Lab = rig.Rig.Name, title
	from, to := lab.At(monday), lab.At(monday.AddDate(0, 0, 7))
	rows, err := d.Views.Bookings(ctx, in.Scope, view.BookingFilter{From: from, To: to, Rig: id})
	if err != nil {
		return err
	}
	k := present.Calendar{Now: now, Href: func(r *view.BookingRow) string { return page.BookingPath(r.ID.String()) }}
	k.Fill(s, monday, rows)
	s.Earlier, s.Later = page.WeekPath(s.Rig, monday.AddDate(0, 0, -7).Format(time.DateOnly)), page.WeekPath(s.Rig, monday.AddDate(0, 0, 7).Format(time.DateOnly))
	s.This = page.WeekPath(s.Rig, now.Format(time.DateOnly))
	s.CSV = bookingsCSVPath(in.ID.String(), s.Rig, monday, monday.AddDate(0, 0, 6))
	if len(may) == 0 || !p.MayBook(in.ID) {
		return nil
	}
	f := httpkit.Blank(page.BookingFields(), page.PostBooking, "book", "Book")
	f.Choices = map[string][]page.Choice{"rig": may}
	f.Values = map[string]string{"rig": s.Rig}
	begin := time.Date(now.Year(), now.Month(), now.Day(), now.Hour()+1, 0, 0, 0, d.zone)
	if begin.Before(monday) || !begin.Before(monday.AddDate(0, 0, 7)) {
		begin = time.Date(monday.Year(), monday.Month(), monday.Day(), 8, 0, 0, 0, d.zone)
	}
	f.Values["from"], f.Values["to"] = begin.Format(minuteLayout), begin.Add(time.Hour).Format(minuteLayout)
	s.Form = &f
	return d.proposeBooking(ctx, p, in, &f)
}

const minuteLayout = "2006-01-02T15:04"

// lately is how far around now bookings are looked at for departments and projects.
const lately = 92 * 24 * time.Hour

// proposeBooking offers the departments and projects of the lab's campaigns and
// of its bookings around now, and fills in what the person booked for last.
func (d *Desk) proposeBooking(ctx context.Context, p *caller, in roster.Place, f *page.Form) error {
	departments, projects := map[string]string{}, map[string]string{}
	put := func(into map[string]string, name string) {
		if name != "" && into[lab.Fold(name)] == "" {
			into[lab.Fold(name)] = name
		}
	}
	err := every(ctx, func(q view.Page) (view.List[view.CampaignRow], error) { return d.Views.Campaigns(ctx, in.Scope, q) }, func(k *view.CampaignRow) error {
		put(departments, k.Campaign.Owner)
		put(projects, k.Campaign.Name)
		return nil
	})
	if err != nil {
		return err
	}
	now := d.Now()
	rows, err := d.Views.Bookings(ctx, in.Scope, view.BookingFilter{From: lab.At(now.Add(-lately)), To: lab.At(now.Add(lately)), Cancelled: true})
	if err != nil {
		return err
	}
	var last *view.BookingRow
	for i := range rows {
		r := &rows[i]
		put(departments, r.Booking.Department)
		put(projects, r.Booking.Project)
		if r.Author == p.Author() && (last == nil || r.RecordedAt.After(last.RecordedAt)) {
			last = r
		}
	}
	if last != nil {
		f.Values["department"], f.Values["project"], f.Values["who"] = last.Booking.Department, last.Booking.Project, last.Booking.Who
	}
	f.Choices["department"], f.Choices["project"] = proposed(departments), proposed(projects)
	return nil
}

func proposed(names map[string]string) []page.Choice {
	out := []page.Choice{}
	for _, name := range names {
		out = append(out, page.Choice{Value: name})
	}
	slices.SortFunc(out, func(a, b page.Choice) int { return cmp.Compare(a.Value, b.Value) })
	return out
}

func (d *Desk) postBooking(c echo.Context) error {
	return d.post(c, page.BookingFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		id, err := uuid.Parse(f.Values["rig"])
		if err != nil {
			f.Fault("rig", "There is no such rig. Choose one from the list.")
			return "", nil
		}
		_, in, _, err := d.rigOf(ctx, &p, id)
		if missing(err) {
			f.Fault("rig", "There is no such rig. Choose one from the list.")
			return "", nil
		}
		if err != nil {
			return "", err
		}
		if err := register.MayBook(p.Principal, in.ID); err != nil {
			return "", err
		}
		b := &lab.Booking{Rig: id, Department: f.Values["department"], Project: f.Values["project"], Who: f.Values["who"], Note: f.Values["note"], Anyway: f.Values["anyway"]}
		if b.From, b.To = d.bookedTimes(f); !f.OK() {
			return "", nil
		}
		made, err := d.Register.Book(ctx, p.Principal, in, b)
		if err != nil {
			return "", err
		}
		return d.toWeek(ctx, in, made, "booked")
	}, d.weekPage)
}

// toWeek leads to the week of a booking, which says what was done.
func (d *Desk) toWeek(ctx context.Context, in roster.Place, id uuid.UUID, what string) (string, error) {
	r, err := d.Views.Booking(ctx, in.Scope, id)
	if len(r.Clashes) > 0 && what == "booked" {
		what = "clash"
	}
	return page.WeekPath(r.Booking.Rig.String(), r.Booking.From.Time().In(d.zone).Format(time.DateOnly)) + "&done=" + what, err
}

// bookedTimes reads the times of a booking. What is over cannot be booked.
func (d *Desk) bookedTimes(f *httpkit.Filled) (from, to lab.Time) {
	now := d.Now().In(d.zone)
	at := func(field string) lab.Time {
		t := f.Moment(field, now)
		if t.IsZero() {
			return 0
		}
		return lab.At(d.passes(f, field, t))
	}
	from, to = at("from"), at("to")
	if f.OK() && to <= lab.At(now) {
		f.Fault("to", "This is over. Give an end that is still to come.")
	}
	return from, to
}

// passes is a time of day as clocks show it: where they show it twice, as they
// go back, the first; what they leave out as they go forward is a fault.
func (d *Desk) passes(f *httpkit.Filled, field string, t time.Time) time.Time {
	if read := f.Values[field]; len(read) >= len(minuteLayout) && t.Format(minuteLayout) != read[:len(minuteLayout)] {
		f.Fault(field, "Clocks go forward then, and never show this time. Give one before or after it, as %s.", t.Format(minuteLayout))
	}
	if first := t.Add(-time.Hour); first.Format(minuteLayout) == t.Format(minuteLayout) {
		return first
	}
	return t
}

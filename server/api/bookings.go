package api

import (
	"cmp"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
)

// bookingRoutes adds the calendar of the rigs. Whoever has a role in the lab may
// book; the register decides.
func (a *API) bookingRoutes(g *echo.Group) {
	g.GET("/labs/:lab/bookings", a.bookings)
	g.POST("/labs/:lab/bookings", a.newBooking)
	g.GET("/labs/:lab/bookings/:id", a.booking)
	g.POST("/labs/:lab/bookings/:id/move", a.moveBooking)
	g.POST("/labs/:lab/bookings/:id/cancel", a.cancelBooking)
}

type bookingAnswer struct {
	ID uuid.UUID `json:"id"`
	lab.Booking
	State           string      `json:"state"`        // booked, cancelled
	Clashes         []uuid.UUID `json:"clashes_with"` // bookings that stand at a time of this one
	CancelledReason string      `json:"cancelled_reason,omitempty"`
}

func bookingOf(r *view.BookingRow) bookingAnswer {
	x := bookingAnswer{ID: r.ID, Booking: r.Booking, State: "booked", Clashes: []uuid.UUID{}}
	for i := range r.Clashes {
		x.Clashes = append(x.Clashes, r.Clashes[i].ID)
	}
	if !r.Stands() {
		x.State, x.CancelledReason = "cancelled", r.Withdrawn.Reason
	}
	return x
}

// longestSpan bounds what one list of bookings spans.
const longestSpan = 400 * 24 * time.Hour

// bookings lists what takes some of a span, by its beginning; without a span the
// 31 days from now.
func (a *API) bookings(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	now := a.Now()
	f := view.BookingFilter{From: lab.At(now), Cancelled: c.QueryParam("cancelled") == "yes"}
	if err := instant(c, "from", &f.From); err != nil {
		return err
	}
	f.To = f.From.Add(31 * 24 * time.Hour)
	if err := instant(c, "to", &f.To); err != nil {
		return err
	}
	if f.To <= f.From || f.To > f.From.Add(longestSpan) {
		return &problem.Error{Code: problem.Invalid, Where: "to", What: "The span ends before it begins, or is longer than 400 days.", Fix: "Give a from before the to, at most 400 days apart."}
	}
	if text := c.QueryParam("rig"); text != "" {
		if f.Rig, err = uuid.Parse(text); err != nil {
			return &problem.Error{Code: problem.Invalid, Where: "rig", What: "This is no id of a rig.", Fix: "Look it up in the list of rigs.", Err: err}
		}
	}
	rows, err := a.Views.Bookings(c.Request().Context(), in.Scope, f)
	if err != nil {
		return err
	}
	out := []bookingAnswer{}
	for i := range rows {
		out = append(out, bookingOf(&rows[i]))
	}
	return c.JSON(http.StatusOK, out)
}

// instant reads a time of the address over what stands in t.
func instant(c echo.Context, name string, t *lab.Time) error {
	text := c.QueryParam(name)
	if text == "" {
		return nil
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil || at.Year() < 1970 || at.Year() > 2200 {
		return &problem.Error{Code: problem.Invalid, Where: name, What: "“" + text + "” is not a time.", Fix: "Write it with its zone, as 2026-05-04T13:20:00Z.", Err: err}
	}
	*t = lab.At(at)
	return nil
}

// booked gives the lab and the booking of the address.
func (a *API) booked(c echo.Context) (roster.Place, view.BookingRow, error) {
	return about(a, c, "id", "booking", a.Views.Booking)
}

func (a *API) booking(c echo.Context) error {
	_, row, err := a.booked(c)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, bookingOf(&row))
}

func bookingAt(in roster.Place, id uuid.UUID) string {
	return "/api/v1/labs/" + in.ID.String() + "/bookings/" + id.String()
}

// over refuses what has ended already.
func (a *API) over(to lab.Time) error {
	if to == 0 || to > lab.At(a.Now()) {
		return nil
	}
	return &problem.Error{Code: problem.Invalid, Where: "to", What: "This is over.", Fix: "Give an end that is still to come."}
}

func (a *API) newBooking(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	b := new(lab.Booking)
	if err := read(c, b); err != nil {
		return err
	}
	if b.Instead != nil {
		return &problem.Error{Code: problem.Invalid, Where: "instead", What: "A booking is not put in the place of another one here.", Fix: "Leave it out; post to the address of the other booking with /move."}
	}
	if err := a.over(b.To); err != nil {
		return err
	}
	id, err := a.Register.Book(c.Request().Context(), door.Of(c).Principal, in, b)
	if err != nil {
		return whole(err)
	}
	return created(c, id, bookingAt(in, id))
}

// moveBooking cancels a booking and makes another in its place, in one step.
func (a *API) moveBooking(c echo.Context) error {
	in, row, err := a.booked(c)
	if err != nil {
		return err
	}
	var q struct {
		From   lab.Time `json:"from"`
		To     lab.Time `json:"to"`
		Anyway string   `json:"anyway"`
		Reason string   `json:"reason"`
	}
	if err := read(c, &q); err != nil {
		return err
	}
	if err := a.over(q.To); err != nil {
		return err
	}
	id, err := a.Register.MoveBooking(c.Request().Context(), door.Of(c).Principal, in, row.ID, q.From, q.To, q.Anyway, cmp.Or(q.Reason, "moved to another time"))
	if err != nil {
		return whole(err)
	}
	return created(c, id, bookingAt(in, id))
}

func (a *API) cancelBooking(c echo.Context) error {
	in, row, err := a.booked(c)
	if err != nil {
		return err
	}
	var q struct {
		Reason string `json:"reason"`
	}
	if err := read(c, &q); err != nil {
		return err
	}
	if err := a.Register.CancelBooking(c.Request().Context(), door.Of(c).Principal, in, row.ID, q.Reason); err != nil {
		return whole(err)
	}
	return c.NoContent(http.StatusNoContent)
}

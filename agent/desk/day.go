package desk

import (
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// dayAsked reads the day that a link names, today without one.
func (d *Desk) dayAsked(c echo.Context) (*present.Day, error) {
	now := time.Now()
	from := dayOf(now)
	if text := c.QueryParam("date"); text != "" {
		at, err := time.ParseInLocation(time.DateOnly, text, time.Local)
		if err != nil || at.Year() < 1900 || at.Year() > 2200 {
			return nil, problem.New(problem.Invalid, "“"+text+"” is no day.", "Write it as 2031-03-14.")
		}
		from = at
	}
	return &present.Day{Read: d.read, Scope: d.scope(), Rig: d.Intake.Rig(), Unit: d.unit(c.Request().Context()), From: from, Now: now, Who: d.personName}, nil
}

// day is the report of one day, to be printed.
func (d *Desk) day(c echo.Context) error {
	ctx := c.Request().Context()
	of, err := d.dayAsked(c)
	if err != nil {
		return err
	}
	p := page.Day{Frame: d.frame(c, "Day report", page.PathDay)}
	if err := of.Fill(ctx, &p); err != nil {
		return err
	}
	if p.Due, err = d.mountedRows(ctx, of.State()); err != nil {
		return err
	}
	p.Due = slices.DeleteFunc(p.Due, func(r page.ReadyRow) bool { return r.State.Level != page.Warn && r.State.Level != page.Bad })
	slices.SortStableFunc(p.Due, func(a, b page.ReadyRow) int { return int(b.State.Level - a.State.Level) })
	return httpkit.Page(c, http.StatusOK, p)
}

func (d *Desk) dayCSV(c echo.Context) error {
	of, err := d.dayAsked(c)
	if err != nil {
		return err
	}
	return d.csv(c, "day-"+of.From.Format(time.DateOnly)+".csv", present.DayHead(), of.Lines(c.Request().Context()))
}

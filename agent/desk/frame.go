package desk

import (
	"cmp"
	"context"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// ready reports why no shot can be taken in.
func (d *Desk) ready(context.Context) error {
	if err := d.Intake.Trouble(); err != nil {
		return err
	}
	return cmp.Or(d.Intake.Room(0), d.Intake.Unsaved())
}

// frame makes what every screen shares. What it cannot find out it leaves out.
func (d *Desk) frame(c echo.Context, title, current string) page.Frame {
	f := page.Frame{Title: title, Place: d.place(), Version: d.Version, Now: time.Now(), AtRig: true}
	d.Intake.LookAtClock() // for each screen, so that a step is noticed soon
	var counts page.AgentCounts
	if n, err := d.counts(c.Request().Context()); err == nil {
		counts = page.AgentCounts{ToAssign: int(n.ToAssign), Quarantine: int(n.Quarantine), SeenAgain: int(n.Sightings)}
	} else {
		d.Log.Error("counts for the navigation", "error", err)
	}
	open := d.openAlarms(c.Request().Context())
	counts.Alarms = len(open)
	f.Nav = navHere(c, page.AgentNav(current, counts))
	d.showPerson(c, &f)
	if err := d.ready(c.Request().Context()); err != nil {
		f.Notices = append(f.Notices, notice(page.Bad, err))
	}
	f.Notices = append(f.Notices, present.Rebuilding(d.Ledger.Rebuilding())...)
	if err := d.Mended(); err != nil {
		f.Notices = append(f.Notices, notice(page.Warn, err))
	}
	if n := len(open); n > 0 && current != page.PathAlarms {
		first := present.Notice(open[0].Text)
		first.Fix = moreAlarms(n - 1)
		f.Notices = append(f.Notices, first)
	}
	return f
}

// place is lab and rig, for the heading.
func (d *Desk) place() string {
	if name := d.LabName(); name != "" {
		return name + ", " + d.Rig()
	}
	return d.Rig()
}

// counts sums over the labs in the store: an agent has one, and another one
// from before it was enrolled.
func (d *Desk) counts(ctx context.Context) (sum view.LabRow, err error) {
	labs, err := d.read.Labs(ctx, d.scope(), 0)
	for _, l := range labs {
		sum.Shots += l.Shots
		sum.ToAssign += l.ToAssign
		sum.Quarantine += l.Quarantine
		sum.Sightings += l.Sightings
	}
	return sum, err
}

// scope is everything in this store: it holds what this rig's lab may see.
func (d *Desk) scope() scope.Scope { return scope.All() }

func notice(level page.Level, err error) page.Notice {
	if p, ok := problem.As(err); ok {
		return page.Notice{Level: level, Text: p.What, Where: p.Where, Fix: p.Fix}
	}
	return page.Notice{Level: level, Text: err.Error()}
}

package desk

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/inventory"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// readyToShoot shows what is due, overdue, missing or out of order.
func (d *Desk) readyToShoot(c echo.Context) error { return d.readyPage(c, nil, http.StatusOK) }

func (d *Desk) readyPage(c echo.Context, typed *httpkit.Filled, status int) error {
	ctx, now := c.Request().Context(), time.Now()
	p := page.Ready{Frame: d.frame(c, "Ready to shoot", page.PathReady), Clock: now, Always: []string{
		"Nobody in the path of the ram or beside it; everybody knows that the next stroke is coming.",
		"The guard is closed, and eye and ear protection is worn.",
		"Helmet, strap and face guard sit as the test method says; nothing lies loose.",
		"Before anybody reaches in: supply shut, tank vented to zero, locked out, line relieved, tried.",
	}}
	var err error
	if p.Rows, err = d.readyRows(ctx, now); err != nil {
		return err
	}
	on, err := d.read.WentOnAt(ctx, d.scope(), d.Intake.Rig(), lab.At(now))
	if err != nil {
		return err
	}
	on = current(p.Rows, on)
	for i := range on {
		w := &on[i].WentOn
		p.On = append(p.On, page.WentOn{What: w.What, Reason: w.Reason, By: present.Who(on[i].Author, d.personName), Until: w.Until.Time().Local()})
	}
	open := uncovered(p.Rows, on)
	switch {
	case len(open) > 0:
		p.State = page.Status{Level: page.Bad, Word: "not ready: " + present.Count(int64(len(open)), "thing", "things") + " overdue, missing or out of order"}
		p.Form = httpkit.Blank(page.WentOnFields(), page.PostWentOn, "on", "Go on with this reason")
		if typed != nil {
			typed.Into(&p.Form)
			p.Notices = append(p.Notices, typed.Other...)
		}
	case len(on) > 0:
		p.State = page.Status{Level: page.Warn, Word: "going on with a reason; the shots carry a flag"}
	case len(p.Rows) > 0 && p.Rows[0].State.Level == page.Warn:
		p.State = page.Status{Level: page.Warn, Word: "ready, with something to look at"}
	default:
		p.State = page.Status{Level: page.OK, Word: "nothing is overdue or missing"}
	}
	return httpkit.Page(c, status, p)
}

// readyNotice puts on the next shot's screen that the rig is not ready, so that
// nobody has to look at Ready to learn it.
func (d *Desk) readyNotice(ctx context.Context, p *page.Next) error {
	now := time.Now()
	rows, err := d.readyRows(ctx, now)
	if err != nil {
		return err
	}
	on, err := d.read.WentOnAt(ctx, d.scope(), d.Intake.Rig(), lab.At(now))
	if err != nil {
		return err
	}
	open := uncovered(rows, on)
	if len(open) == 0 {
		return nil
	}
	text := "The rig is not ready: " + open[0]
	if n := len(open) - 1; n > 0 {
		text += ", and " + present.Count(int64(n), "other thing", "other things")
	}
	n := page.Notice{Level: page.Bad, Text: text + ".", Fix: "See Ready. You can go on with a reason there; the shots carry a flag.", Link: "See what is missing", Href: page.PathReady}
	mounted, err := d.read.Mounted(ctx, d.scope(), d.Intake.Rig(), lab.At(now))
	if err != nil {
		return err
	}
	if len(mounted) == 0 { // the rig is new
		n.Link, n.Href = "Set the rig up", page.PathSetup
	}
	p.Notices = append(p.Notices, n)
	return nil
}

// uncovered gives what is bad and named by no reason that holds.
func uncovered(rows []page.ReadyRow, on []view.WentOnRow) (out []string) {
	for i := range rows {
		text := lacks(&rows[i])
		if rows[i].State.Level == page.Bad && !slices.ContainsFunc(on, func(w view.WentOnRow) bool { return slices.Contains(w.WentOn.What, text) }) {
			out = append(out, text)
		}
	}
	return out
}

// lacks names what is bad as a reason to go on names it.
func lacks(r *page.ReadyRow) string { return clip(r.What+": "+r.State.Word, 2*lab.MaxText) }

// current gives the reasons for what is bad still. A reason for what is in order
// again belongs to the shots fired meanwhile alone.
func current(rows []page.ReadyRow, on []view.WentOnRow) (out []view.WentOnRow) {
	for _, w := range on {
		w.WentOn.What = slices.DeleteFunc(slices.Clone(w.WentOn.What), func(text string) bool {
			return !slices.ContainsFunc(rows, func(r page.ReadyRow) bool { return r.State.Level == page.Bad && lacks(&r) == text })
		})
		if len(w.WentOn.What) > 0 {
			out = append(out, w)
		}
	}
	return out
}

// ends says what mends each thing.
func ends(rows []page.ReadyRow, what []string) []lab.Lacked {
	out := make([]lab.Lacked, len(what))
	for i, text := range what {
		for j := range rows {
			id, err := uuid.Parse(rows[j].Item)
			if err != nil || lacks(&rows[j]) != text {
				continue
			}
			switch code := rows[j].Code; {
			case strings.HasPrefix(code, "service_"):
				out[i] = lab.Lacked{Item: id, Ends: lab.KindService}
			case strings.HasPrefix(code, "calibration_"):
				out[i] = lab.Lacked{Item: id, Ends: lab.KindCalibration}
			}
		}
	}
	return out
}

// readyRows looks at everything that decides whether shots can count.
func (d *Desk) readyRows(ctx context.Context, now time.Time) ([]page.ReadyRow, error) {
	rows, err := d.mountedRows(ctx, now)
	if err != nil {
		return nil, err
	}
	check, err := d.checkedToday(ctx, now)
	if err != nil {
		return nil, err
	}
	advice, err := d.checks(now).Advice(ctx)
	if err != nil {
		return nil, err
	}
	if advice != nil {
		rows = append(rows, *advice)
	}
	n, err := d.counts(ctx)
	if err != nil {
		return nil, err
	}
	disk, watch, link := d.disk(n.Shots), watchState(d.Intake.Folders()), d.Link(ctx)
	clock := page.Status{Level: page.Plain, Word: "not compared: no server was reached"}
	if link.Detail.ClockOffset != nil {
		clock = page.Status{Level: page.OK, Word: "agrees with the server’s"}
	}
	if link.Detail.Clock != "" {
		clock = page.Status{Level: page.Bad, Word: "differs from the server’s"}
	}
	most, err := d.ratedRow(ctx, now)
	if err != nil {
		return nil, err
	}
	rows = append(rows, check, most,
		page.ReadyRow{What: "folder of the acquisition", State: watch.State, Reason: watch.Detail, Href: page.PathSetup},
		page.ReadyRow{What: "disk", State: disk.State, Reason: disk.Free + " free, " + disk.Detail},
		page.ReadyRow{What: "clock", State: clock, Reason: link.Detail.Clock},
		page.ReadyRow{What: "server", State: link.Sync.State, Reason: link.Sync.Waiting, Href: page.PathConnect},
	)
	if n.ToAssign > 0 {
		rows = append(rows, page.ReadyRow{What: "shots to assign", State: page.Status{Level: page.Warn, Word: present.Count(n.ToAssign, "shot waits", "shots wait")}, Href: page.PathAssign})
	}
	slices.SortStableFunc(rows, func(a, b page.ReadyRow) int { return -cmp.Compare(a.State.Level, b.State.Level) })
	return rows, nil
}

// mountedRows says of each position what is due there, and what is missing. A
// position of which all is well is part of one line.
func (d *Desk) mountedRows(ctx context.Context, now time.Time) (rows []page.ReadyRow, err error) {
	mounted, err := d.read.Mounted(ctx, d.scope(), d.Intake.Rig(), lab.At(now))
	if err != nil {
		return nil, err
	}
	places, name, err := d.positions(ctx, now)
	if err != nil {
		return nil, err
	}
	if name == "" {
		rows = append(rows, page.ReadyRow{What: "channel map", State: page.Status{Level: page.Warn, Word: "none: the channels are guessed"}, Href: page.PathSetup})
	}
	for _, p := range places {
		if p.Item == "" && p.Absent == "" {
			rows = append(rows, page.ReadyRow{What: "position " + p.Position, State: page.Status{Level: page.Bad, Word: "nothing is mounted"}, Href: page.PathRig + "?position=" + p.Position + "#h-mount"})
		}
	}
	also, err := d.labs(ctx)
	if err != nil {
		return nil, err
	}
	well, look := 0, &upkeep.Watch{Read: d.read, Scope: d.scope(), Now: now}
	for i := range mounted {
		m := &mounted[i]
		if m.Item != nil && len(present.OtherPositions(mounted[:i], m)) > 0 {
			continue // told of at its first position
		}
		position := strings.Join(append([]string{m.Mounting.Mounting.Position}, present.OtherPositions(mounted, m)...), ", ")
		if m.Item == nil {
			rows = append(rows, page.ReadyRow{What: "position " + m.Mounting.Mounting.Position, State: page.Status{Level: page.Bad, Word: "not in the register"}, Href: page.PathRig})
			continue
		}
		l, err := present.Look(ctx, look, m.Item, also...)
		if err != nil {
			return nil, err
		}
		if s, ok := l.Uncertified(m.Item.Item.Class); ok {
			rows = append(rows, page.ReadyRow{What: m.Item.Item.Title() + ", position " + position, State: s, Reason: "The register asks no calibration of it. If it has a certificate, record it.", Href: page.PathRig + "#certificate"})
		} else if len(l.Needs) == 0 {
			well++
		}
		for _, need := range l.Needs {
			rows = append(rows, page.ReadyRow{What: m.Item.Item.Title() + ", position " + position, State: need.State, Reason: need.Reason, Href: page.PathRig, Item: m.Item.ID.String(), Code: need.Code})
		}
	}
	if well > 0 {
		rows = append(rows, page.ReadyRow{What: "other items at the rig", State: page.Status{Level: page.OK, Word: present.Count(int64(well), "item", "items") + " in order"}, Href: page.PathRig})
	}
	return rows, nil
}

// checkedToday says whether the reference pad was hit today, and what came of it.
func (d *Desk) checkedToday(ctx context.Context, now time.Time) (page.ReadyRow, error) {
	t, err := d.checks(now).Today(ctx)
	return page.ReadyRow{What: "system check", State: t.State, Reason: t.Reason, Href: page.PathCheck}, err
}

// dayOf is the first instant of a day at this place.
func dayOf(t time.Time) time.Time {
	y, m, day := t.Date()
	return time.Date(y, m, day, 0, 0, 0, 0, t.Location())
}

// wentOn records that the operator goes on, and with what.
func (d *Desk) wentOn(c echo.Context) error {
	return d.once.Post(c, whom, page.WentOnFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		if !f.OK() {
			return "", nil
		}
		now := time.Now()
		rows, err := d.readyRows(ctx, now)
		if err != nil {
			return "", err
		}
		on, err := d.read.WentOnAt(ctx, d.scope(), d.Intake.Rig(), lab.At(now))
		if err != nil {
			return "", err
		}
		what := uncovered(rows, on)
		if len(what) == 0 {
			return "", problem.New(problem.Conflict, "Nothing is overdue, missing or out of order any more.", "No reason is needed.")
		}
		what = what[:min(len(what), lab.MaxParts)]
		body := &lab.WentOn{Rig: d.Intake.Rig(), What: what, Of: ends(rows, what), Reason: f.Values["reason"], EffectiveAt: lab.At(now), Until: lab.At(dayOf(now).AddDate(0, 0, 1))}
		_, err = d.Intake.State(ctx, inventory.Fact{Author: d.author(c), Body: body})
		return page.PathReady, err
	}, func(c echo.Context, f *httpkit.Filled, status int) error { return d.readyPage(c, f, status) }, nil)
}

func clip(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most])
	}
	return s
}

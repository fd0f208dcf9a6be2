package desk

import (
	"context"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

// undecidedShown is how many shots of today that nobody has accepted Result names.
const undecidedShown = 12

// stays gives the shot that Result shows: the confirmed one of today until it is
// accepted or void, whatever came after it; else the newest.
func (d *Desk) stays(ctx context.Context, newest *view.ShotRow) (*view.ShotRow, error) {
	e, err := d.read.LastExpected(ctx, d.scope(), d.Intake.Rig())
	if err != nil || e == nil || e.Open() || e.Settled.Shot == newest.ID || e.Expected.EffectiveAt < lab.At(dayOf(time.Now())) {
		return newest, err
	}
	row, err := d.read.Shot(ctx, d.scope(), e.Shot())
	switch {
	case problem.Of(err) == problem.NotFound: // it was not fired, or no file came
		return newest, nil
	case err != nil:
		return nil, err
	case !acceptable(&row) || row.RecordedAt.After(newest.RecordedAt):
		return newest, nil
	}
	if a, err := d.read.Accepted(ctx, d.scope(), row.ID); a.Of(&row) || err != nil {
		return newest, err
	}
	return &row, nil
}

// another names the file that came after the shot that is shown.
func another(row *view.ShotRow) *page.Another {
	return &page.Another{File: row.Shot.FileName, At: row.RecordedAt.In(time.Local), Href: page.ShotPath(row.ID.String())}
}

// acceptable says that a person may let the result of a shot stand.
func acceptable(row *view.ShotRow) bool { return !row.Void() && row.Shot.Kind != lab.ShotSecondFile }

// undecided lists the shots of today at this rig that are neither accepted nor
// void, oldest first, but the one that is shown.
func (d *Desk) undecided(ctx context.Context, shown *view.ShotRow) (out []page.Undecided, more int, err error) {
	day := present.Day{Read: d.read, Scope: d.scope(), Rig: d.Intake.Rig(), From: dayOf(time.Now())}
	err = day.EachShot(ctx, func(r *view.ShotRow) error {
		if r.ID == shown.ID || r.Shot.Kind != lab.ShotHit || !acceptable(r) {
			return nil
		}
		a, err := d.read.Accepted(ctx, d.scope(), r.ID)
		if a.Of(r) || err != nil {
			return err
		}
		if len(out) == undecidedShown {
			more++
			return nil
		}
		what := r.Shot.FileName
		if r.Shot.Assigned() {
			what = present.HitOf(r)
		}
		out = append(out, page.Undecided{What: what, At: r.Shot.EffectiveAt.Time().In(time.Local), Href: page.ShotPath(r.ID.String()) + "#accept"})
		return nil
	})
	return out, more, err
}

// acceptForm lets the result of a shot of this rig stand from its own screen; nil
// where it is decided, or a question about it is open.
func (d *Desk) acceptForm(c echo.Context, p *page.Shot, row *view.ShotRow) error {
	if !acceptable(row) || row.Shot.Rig != d.Intake.Rig() {
		return nil
	}
	a, err := d.read.Accepted(c.Request().Context(), d.scope(), row.ID)
	if err != nil {
		return err
	}
	if !a.Of(row) && p.Gap == nil {
		p.Accept = &page.Form{ID: "accept", Action: page.PostAccept, Submit: "Accept", Hidden: map[string]string{"shot": row.ID.String(), page.SeenField: amend.Seen(row), page.BackField: "shot"}}
	}
	return nil
}

package desk

import (
	"context"
	"slices"

	"github.com/labstack/echo/v4"

	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// secondFilesPassed is how many second files of strokes the Result screen passes
// over to show the newest stroke.
const secondFilesPassed = 7

// newestStroke gives the newest shot that is a stroke, else the newest of all.
func newestStroke(rows []view.ShotRow) *view.ShotRow {
	i := slices.IndexFunc(rows, func(r view.ShotRow) bool { return r.Shot.Kind != lab.ShotSecondFile })
	return &rows[max(i, 0)]
}

// second offers to say of a shot for which none was confirmed that it is one more
// file of the stroke before, and leads to that one.
func (d *Desk) second(ctx context.Context, p *page.Outcome, row *view.ShotRow) error {
	if row.Void() || row.Figures == nil || !slices.Contains(row.Figures.Flags, lab.FlagSecondFile) || row.Shot.Assigned() || row.Shot.Kind != lab.ShotHit {
		return nil
	}
	e, err := d.read.LastExpected(ctx, d.scope(), d.Intake.Rig())
	if err != nil || e == nil {
		return err
	}
	p.First = page.PathShots
	if !e.Open() {
		p.First = page.ShotPath(e.Shot().String())
	}
	p.Second = &page.Form{Action: page.PostSecond, Submit: "A second file of the stroke before", Hidden: map[string]string{"shot": row.ID.String(), page.SeenField: amend.Seen(row)}}
	return nil
}

// secondFile says that a file is one more of a stroke that has its shot.
func (d *Desk) secondFile(c echo.Context) error {
	id, err := d.formID(c, "shot")
	if err != nil {
		return err
	}
	want := map[string]any{"kind": lab.ShotSecondFile}
	if _, err := d.Intake.Amend(c.Request().Context(), id, amend.Correct(want, c.FormValue(page.SeenField), d.author(c))); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathResult)
}

package desk

import (
	"context"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/agent/intake"
	"thudbook/sync/amend"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// whole asks of a shot whose file grew whether it is one stroke with the parts
// that were taken in before; nil where nothing is to be asked. back is for page.BackField.
func (d *Desk) whole(ctx context.Context, row *view.ShotRow, back string) (*page.Whole, error) {
	parts, err := intake.Parts(ctx, d.read, row)
	if err != nil || len(parts) == 0 {
		return nil, err
	}
	w := &page.Whole{Form: page.Form{Action: page.PostWhole, Submit: "The same stroke: this whole file counts",
		Hidden: map[string]string{"shot": row.ID.String(), page.SeenField: amend.Seen(row), page.BackField: back}}}
	for i := range parts {
		s := &parts[i].Shot
		text := s.FileName + ", " + page.ShowMoment(s.EffectiveAt.Time().In(time.Local))
		for _, said := range []string{s.Specimen, s.Location} {
			if said != "" {
				text += ", " + said
			}
		}
		w.Parts = append(w.Parts, page.Reference{Text: text, Href: page.ShotPath(parts[i].ID.String())})
	}
	return w, nil
}

// wholeFile says that a grown file and its parts are one stroke.
func (d *Desk) wholeFile(c echo.Context) error {
	id, err := d.formID(c, "shot")
	if err != nil {
		return err
	}
	if err := d.Intake.Whole(c.Request().Context(), id, c.FormValue(page.SeenField), d.author(c)); err != nil {
		return err
	}
	if c.FormValue(page.BackField) == "assign" {
		return httpkit.SeeOther(c, page.PathAssign)
	}
	return httpkit.SeeOther(c, page.PathResult)
}

package desk

import (
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// showInspections says how inspections are shown at the rig.
func (d *Desk) showInspections(c echo.Context) present.Inspections {
	return present.Inspections{Zone: time.Local, Who: d.personName, Photos: d.shownPhotos(c), May: func(r *view.InspectionRow) string {
		if r.Inspection.Shot == uuid.Nil {
			return ""
		}
		return page.InspectPath(r.Inspection.Shot.String()) + "?corrects=" + r.ID.String()
	}}
}

// inspectionsOf adds what was seen of the specimen after the shot, and the link
// to look again.
func (d *Desk) inspectionsOf(c echo.Context, p *page.Shot, row *view.ShotRow) error {
	ctx := c.Request().Context()
	var err error
	if p.Photos, err = d.photos.Of(ctx, d.scope(), row.ID, "", uuid.Nil); err != nil {
		return err
	}
	p.AddPhotos = present.AddPhotos(page.ShotPhotosPath(row.ID.String()), "the shot of "+page.ShowMoment(row.Shot.EffectiveAt.Time().In(time.Local)))
	if strings.TrimSpace(row.Shot.Specimen) == "" {
		return nil
	}
	p.Specimen = page.SpecimenPath(row.Shot.Specimen)
	if row.Shot.Kind == lab.ShotHit {
		p.Inspect = page.InspectPath(row.ID.String())
	}
	all, err := d.read.Inspections(ctx, d.scope(), view.InspectionFilter{Shot: row.ID}, view.Page{Limit: view.MaxLimit})
	if err != nil {
		return err
	}
	shown := d.showInspections(c)
	shown.Photos = nil // they all stand in a section of their own
	p.Inspected = shown.Rows(all.Rows)
	kept, err := d.draftOf(ctx, row.ID, uuid.Nil)
	if err == nil && kept != nil {
		p.Notices = append(p.Notices, page.Notice{Level: page.Warn, Text: "An inspection of this specimen was begun and is not recorded yet.",
			Fix: "Choose “Inspect the specimen” to go on; what was typed until " + kept.At.In(time.Local).Format("15:04:05") + " is kept."})
	}
	return err
}

// inspections lists all inspections, or those of one specimen.
func (d *Desk) inspections(c echo.Context) error {
	specimen := c.QueryParam("specimen")
	list, err := d.read.Inspections(c.Request().Context(), d.scope(), view.InspectionFilter{Specimen: specimen}, view.Page{Limit: rowsPerPage, After: c.QueryParam("after")})
	if err != nil {
		return err
	}
	shown := d.showInspections(c)
	p := page.Inspections{Frame: d.frame(c, "Inspections", page.PathLog), Specimen: specimen, Rows: shown.Rows(list.Rows)}
	present.InspectionLinks(&p, specimen, list.Next)
	return httpkit.Page(c, http.StatusOK, p)
}

func (d *Desk) inspectionsCSV(c echo.Context) error {
	rows := present.AllInspections(c.Request().Context(), d.read, d.scope(), view.InspectionFilter{Specimen: c.QueryParam("specimen")})
	return d.csv(c, "inspections.csv", present.InspectionHead(), rows)
}

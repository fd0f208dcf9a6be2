package desk

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// inspectionRoutes are the screens about specimens and the log; they are
// written at the rig and read here.
func (d *Desk) inspectionRoutes(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET(page.PathInspections, d.inspections, in)
	e.GET(page.PathInspections+".csv", d.inspectionsCSV, in)
	e.GET(page.PathSpecimens+"/:name", d.specimen, in)
	d.photoRoutes(e, in)
	e.GET(page.PathLog, d.log, in)
	e.GET(page.PathLog+".csv", d.logCSV, in)
}

// asked is the caller with the scope that the address narrows to a lab.
func (d *Desk) asked(c echo.Context) (p caller, sc scope.Scope, err error) {
	if p, err = d.caller(c); err != nil {
		return p, sc, err
	}
	if text := c.QueryParam("lab"); text != "" {
		in, err := d.place(c.Request().Context(), &p, text)
		return p, in.Scope, err
	}
	return p, p.Scope, nil
}

// showInspections says how the caller sees inspections.
func (d *Desk) showInspections(ctx context.Context, p *caller) (present.Inspections, error) {
	who, err := d.authors(ctx, p.Scope)
	s := present.Inspections{Zone: d.zone, Who: who, Photos: func(r *view.InspectionRow) []page.Photo { return d.photosOf(ctx, p, r) }}
	if len(p.names.All()) > 1 {
		s.Lab = func(r *view.InspectionRow) string { return d.labName(ctx, p, r.Lab) }
	}
	return s, err
}

// labName names the lab of a record; "" where that cannot be found out.
func (d *Desk) labName(ctx context.Context, p *caller, id record.LabID) string {
	name, err := p.names.Of(ctx, id)
	if err != nil {
		d.Log.Error("name of a lab", "lab", id, "error", err)
	}
	return name
}

func (d *Desk) inspections(c echo.Context) error {
	p, sc, err := d.asked(c)
	if err != nil {
		return err
	}
	specimen := c.QueryParam("specimen")
	list, err := d.Views.Inspections(c.Request().Context(), sc, view.InspectionFilter{Specimen: specimen}, view.Page{Limit: rowsPerPage, After: c.QueryParam("after")})
	if err != nil {
		return err
	}
	shown, err := d.showInspections(c.Request().Context(), &p)
	if err != nil {
		return err
	}
	s := page.Inspections{Frame: d.frame(&p, "Inspections", page.PathLog), Specimen: specimen, Rows: shown.Rows(list.Rows)}
	present.InspectionLinks(&s, specimen, list.Next)
	return d.show(c, s)
}

func (d *Desk) inspectionsCSV(c echo.Context) error {
	_, sc, err := d.asked(c)
	if err != nil {
		return err
	}
	b, err := present.CSV(present.InspectionHead(), present.AllInspections(c.Request().Context(), d.Views, sc, view.InspectionFilter{Specimen: c.QueryParam("specimen")}))
	if err != nil {
		return err
	}
	return download(c, "inspections.csv", b)
}

func (d *Desk) specimen(c echo.Context) error {
	ctx := c.Request().Context()
	p, sc, err := d.asked(c)
	if err != nil {
		return err
	}
	name, err := httpkit.Text(c, "name")
	if err != nil {
		return err
	}
	h, err := present.SpecimenHistory(ctx, d.Views, sc, name)
	if err != nil {
		return err
	}
	if !h.Known() {
		return notFound("specimen")
	}
	shown, err := d.showInspections(ctx, &p)
	if err != nil {
		return err
	}
	shown.Photos = nil // they stand beside their hits
	s, err := h.Page(ctx, d.Views, door.Of(c).Scope, &shown)
	if err == nil {
		err = d.photos.Fill(ctx, sc, h, &s)
	}
	if err != nil {
		return err
	}
	s.Frame, s.Linked = d.frame(&p, "Specimen "+h.Name, page.PathShots), true
	seen := map[string]bool{}
	for _, id := range h.Labs() {
		l, err := p.names.Lab(ctx, id)
		if err != nil {
			return err
		}
		if l != nil && !seen[l.ID.String()] {
			seen[l.ID.String()] = true
			s.Labs, s.Lab = append(s.Labs, page.Choice{Value: page.SpecimenPath(h.Name) + "?lab=" + l.ID.String(), Text: l.Title()}), l.Title()
		}
	}
	if len(s.Labs) < 2 {
		s.Labs = nil
	} else { // specimens of one name in several labs are different ones
		s.Lab, s.Hits, s.Loose, s.Photos, s.Why, s.State = "", nil, nil, nil, "", page.Status{Level: page.Warn, Word: "in several labs"}
	}
	return d.show(c, s)
}

func (d *Desk) logView(ctx context.Context, p *caller, sc scope.Scope) (*present.LogView, error) {
	who, err := d.authors(ctx, p.Scope)
	v := &present.LogView{Read: d.Views, Scope: sc, Zone: d.zone, Who: who}
	if len(p.names.All()) > 1 {
		v.Lab = func(id [16]byte) string { return d.labName(ctx, p, id) }
	}
	return v, err
}

func (d *Desk) log(c echo.Context) error {
	p, sc, err := d.asked(c)
	if err != nil {
		return err
	}
	v, err := d.logView(c.Request().Context(), &p, sc)
	if err != nil {
		return err
	}
	s := page.Log{Frame: d.frame(&p, "Log", page.PathLog)}
	if err := v.Fill(c.Request().Context(), &s, c.QueryParam("kind"), c.QueryParam("after"), rowsPerPage); err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, s)
}

func (d *Desk) logCSV(c echo.Context) error {
	p, sc, err := d.asked(c)
	if err != nil {
		return err
	}
	v, err := d.logView(c.Request().Context(), &p, sc)
	if err != nil {
		return err
	}
	b, err := present.CSV(present.LogHead(), v.Lines(c.Request().Context(), c.QueryParam("kind")))
	if err != nil {
		return err
	}
	return download(c, "log.csv", b)
}

// inspectionsOf adds what was seen of the specimen after the shot.
func (d *Desk) inspectionsOf(ctx context.Context, p *caller, s *page.Shot, row *view.ShotRow) error {
	if row.Shot.Specimen == "" {
		return nil
	}
	s.Specimen = page.SpecimenPath(row.Shot.Specimen)
	if in, err := p.names.Lab(ctx, row.Lab); err != nil {
		return err
	} else if in != nil {
		s.Specimen += "?lab=" + in.ID.String()
	}
	var err error
	if s.Photos, err = d.photos.Of(ctx, p.Scope, row.ID, "", uuid.Nil); err != nil {
		return err
	}
	list, err := d.Views.Inspections(ctx, p.Scope, view.InspectionFilter{Shot: row.ID}, view.Page{Limit: view.MaxLimit})
	if err != nil || len(list.Rows) == 0 {
		return err
	}
	shown, err := d.showInspections(ctx, p)
	if err != nil {
		return err
	}
	shown.Lab, shown.Photos = nil, nil // the photos stand in a section of their own
	s.Inspected = shown.Rows(list.Rows)
	return nil
}

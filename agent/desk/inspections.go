package desk

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// showInspections says how inspections are shown at the rig.
func (d *Desk) showInspections() present.Inspections {
	return present.Inspections{Zone: time.Local, Who: d.personName, Photo: d.photo, May: func(r *view.InspectionRow) string {
		if r.Inspection.Shot == uuid.Nil {
			return ""
		}
		return page.InspectPath(r.Inspection.Shot.String()) + "?corrects=" + r.ID.String()
	}}
}

// inspectionsOf adds what was seen of the specimen after the shot, and the link
// to look again.
func (d *Desk) inspectionsOf(ctx context.Context, p *page.Shot, row *view.ShotRow) error {
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
	shown := d.showInspections()
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
	shown := d.showInspections()
	p := page.Inspections{Frame: d.frame(c, "Inspections", page.PathLog), Specimen: specimen, Rows: shown.Rows(list.Rows)}
	present.InspectionLinks(&p, specimen, list.Next)
	return httpkit.Page(c, http.StatusOK, p)
}

func (d *Desk) inspectionsCSV(c echo.Context) error {
	rows := present.AllInspections(c.Request().Context(), d.read, d.scope(), view.InspectionFilter{Specimen: c.QueryParam("specimen")})
	return d.csv(c, "inspections.csv", present.InspectionHead(), rows)
}

func photoList(all []record.Attachment) string {
	var sums []string
	for _, a := range all {
		if a.Role == lab.RolePhoto {
			sums = append(sums, a.SHA256.String())
		}
	}
	return strings.Join(sums, " ")
}

// attachedPhotos names the photos of a form that are stored here.
func (d *Desk) attachedPhotos(ctx context.Context, sums string) (out []record.Attachment, err error) {
	for _, text := range strings.Fields(sums) {
		sum, err := record.ParseHash(text)
		if err != nil {
			return nil, problem.New(problem.Invalid, "A photo of the form is named by what is no SHA-256 sum.", "Open the inspection anew from the shot.")
		}
		has, size, err := d.Blobs.Has(ctx, sum)
		if err != nil {
			return nil, err
		}
		if !has {
			return nil, problem.New(problem.NotFound, "A photo of the form is not on this computer.", "Add it once more; what you typed is kept as a draft.")
		}
		out = append(out, record.Attachment{SHA256: sum, Size: size, Role: lab.RolePhoto, Media: "image/jpeg", Name: "photo " + text[:8]})
	}
	return out, nil
}

// photo is a stored picture for the screen.
func (d *Desk) photo(sum, name string) page.Photo {
	if name == "" {
		name = "photo " + sum[:min(8, len(sum))]
	}
	return page.Photo{SHA256: sum, Name: name, Absent: "kept by the agent that took it in"}
}

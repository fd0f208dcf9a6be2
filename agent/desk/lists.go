package desk

import (
	"fmt"
	"net/http"

	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

const (
	listAtOnce  = 100
	copiesShown = 50 // files with the bytes of one quarantined file
)

func (d *Desk) quarantine(c echo.Context) error {
	list, err := d.read.Quarantine(c.Request().Context(), d.scope(), false, view.Page{Limit: listAtOnce})
	if err != nil {
		return err
	}
	copies, err := d.Intake.Copies(c.Request().Context())
	if err != nil {
		return err
	}
	p := page.Quarantine{Frame: d.frame(c, "Quarantine", page.PathQuarantine)}
	p.Notices = append(p.Notices, more(list.Next, "The others are under /api/v1/quarantine, page by page.")...)
	for i := range list.Rows {
		r := &list.Rows[i]
		q := &r.Quarantine
		row := page.QuarantineRow{ID: r.ID.String(), File: q.FileName, At: r.RecordedAt.Local(), Size: page.ShowBytes(q.Size),
			SHA256: q.SourceSHA256.String(), From: arrival(q.FileTime), Error: present.FileError(q.Error), Gone: !d.kept(c, q)}
		all := copies[r.ID]
		row.MoreCopies = max(0, len(all)-copiesShown)
		for _, one := range all[row.MoreCopies:] { // the newest
			row.Copies = append(row.Copies, page.QuarantineCopy{File: one.Name, At: one.At.Time().Local(), From: arrival(one.FileTime)})
		}
		p.Rows = append(p.Rows, row)
	}
	return httpkit.Page(c, http.StatusOK, p)
}

// more says that a list goes on, and where.
func more(next, where string) []page.Notice {
	if next == "" {
		return nil
	}
	return []page.Notice{{Text: fmt.Sprintf("Only the first %d are shown. %s", listAtOnce, where)}}
}

// arrival: a posted file carries no time of its own.
func arrival(fileTime lab.Time) string {
	if fileTime.IsZero() {
		return "sent by HTTP"
	}
	return "watched folder"
}

// kept tells whether the bytes are in the store; those over the limit are not.
func (d *Desk) kept(c echo.Context, q *lab.Quarantine) bool {
	has, _, err := d.Blobs.Has(c.Request().Context(), q.SourceSHA256)
	return err == nil && has
}

func (d *Desk) quarantineFile(c echo.Context) error {
	id, err := d.id(c)
	if err != nil {
		return err
	}
	r, err := d.read.Quarantined(c.Request().Context(), d.scope(), id)
	if err != nil {
		return err
	}
	return d.serveBlob(c, r.Quarantine.SourceSHA256, r.Quarantine.FileName)
}

func (d *Desk) seenAgain(c echo.Context) error {
	ctx := c.Request().Context()
	list, err := d.read.Sightings(ctx, d.scope(), view.SightingFilter{Open: true}, view.Page{Limit: listAtOnce})
	if err != nil {
		return err
	}
	p := page.SeenAgain{Frame: d.frame(c, "Seen again", page.PathSeen)}
	p.Notices = append(p.Notices, more(list.Next, "The others follow when these are answered.")...)
	for i := range list.Rows {
		r := &list.Rows[i]
		row := page.SeenRow{ID: r.ID.String(), File: r.Sighting.FileName, At: r.RecordedAt.Local(), FirstShot: r.Sighting.Shot.String()}
		first, err := d.read.Shot(ctx, d.scope(), r.Sighting.Shot)
		if err != nil && problem.Of(err) != problem.NotFound {
			return err
		}
		if err == nil {
			row.FirstFile, row.FirstAt, row.Specimen = first.Shot.FileName, first.Shot.EffectiveAt.Time().Local(), first.Shot.Specimen
			row.SHA256 = first.Shot.SourceSHA256.String()
		}
		p.Rows = append(p.Rows, row)
	}
	return httpkit.Page(c, http.StatusOK, p)
}

// settleSeen writes down what a file seen again was. The same answer twice
// changes nothing.
func (d *Desk) settleSeen(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := d.id(c)
	if err != nil {
		return err
	}
	var stroke bool
	switch c.FormValue("verdict") {
	case page.VerdictSame:
	case page.VerdictStroke:
		stroke = true
	default:
		return problem.New(problem.Invalid, "The answer is missing.", "Choose: the same shot, or a stroke to count.")
	}
	r, err := d.read.Sighting(ctx, d.scope(), id)
	if err != nil {
		return err
	}
	if r.Settled == nil || r.Settled.Count != stroke {
		kind, schema, body, err := lab.Encode(&lab.SightingSettled{Sighting: id, CountStroke: stroke})
		if err != nil {
			return err
		}
		if _, err := d.Ledger.Append(ctx, r.Lab, ledger.Draft{Kind: kind, Schema: schema, Author: d.author(c), UID: id, Body: body}); err != nil {
			return err
		}
		d.Wake()
	}
	return httpkit.SeeOther(c, page.PathSeen)
}

func (d *Desk) licences(c echo.Context) error {
	p := page.Licences{Frame: d.frame(c, "Licences", page.PathLicences)}
	for _, l := range web.Assets().Licences() {
		p.Items = append(p.Items, page.Licence{Name: l.Name, Text: l.Text})
	}
	return httpkit.Page(c, http.StatusOK, p)
}

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
)

const listAtOnce = 100

// more says that a list goes on, and where.
func more(next, where string) []page.Notice {
	if next == "" {
		return nil
	}
	return []page.Notice{{Text: fmt.Sprintf("Only the first %d are shown. %s", listAtOnce, where)}}
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

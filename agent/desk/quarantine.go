package desk

import (
	"net/http"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

const copiesShown = 50 // files with the bytes of one quarantined file

func (d *Desk) quarantine(c echo.Context) error {
	return d.quarantined(c, http.StatusOK, uuid.Nil, nil)
}

// quarantined shows the list; refused is the entry whose form was not accepted.
func (d *Desk) quarantined(c echo.Context, status int, refused uuid.UUID, faults map[string]string) error {
	all := c.QueryParam("all") != ""
	list, err := d.read.Quarantine(c.Request().Context(), d.scope(), all, view.Page{Limit: listAtOnce})
	if err != nil {
		return err
	}
	copies, err := d.Intake.Copies(c.Request().Context())
	if err != nil {
		return err
	}
	p := page.Quarantine{Frame: d.frame(c, "Quarantine", page.PathQuarantine), All: all}
	p.Notices = append(p.Notices, more(list.Next, "The others are under /api/v1/quarantine, page by page.")...)
	for i := range list.Rows {
		row := d.quarantineRow(c, &list.Rows[i])
		of := copies[list.Rows[i].ID]
		row.MoreCopies = max(0, len(of)-copiesShown)
		for _, one := range of[row.MoreCopies:] { // the newest
			row.Copies = append(row.Copies, page.QuarantineCopy{File: one.Name, At: one.At.Time().Local(), From: arrival(one.FileTime)})
		}
		if list.Rows[i].ID == refused {
			row.Off.Errors = faults
		}
		p.Rows = append(p.Rows, row)
	}
	return httpkit.Page(c, status, p)
}

func (d *Desk) quarantineRow(c echo.Context, r *view.QuarantineRow) page.QuarantineRow {
	q := &r.Quarantine
	row := page.QuarantineRow{ID: r.ID.String(), File: q.FileName, At: r.RecordedAt.Local(), Size: page.ShowBytes(q.Size),
		SHA256: q.SourceSHA256.String(), From: arrival(q.FileTime), Error: present.FileError(q.Error), Gone: !d.kept(c, q)}
	switch m := r.Settled; {
	case m == nil || m.Lifted:
		row.Off = page.Form{ID: "off-" + row.ID, Action: page.QuarantineOffPath(row.ID), Fields: page.QuarantineOffFields(), Submit: "Take it off the list"}
	case m.Shot != uuid.Nil:
		row.Answer = "it became a shot, " + m.Reason
	default:
		row.Answer = m.Reason
		if who := d.personName(m.Author); who != "" {
			row.Answer += " · " + who
		}
	}
	return row
}

// quarantineAsked is the entry that the address names.
func (d *Desk) quarantineAsked(c echo.Context) (view.QuarantineRow, error) {
	id, err := d.id(c)
	if err != nil {
		return view.QuarantineRow{}, err
	}
	return d.read.Quarantined(c.Request().Context(), d.scope(), id)
}

// quarantineOff takes a file off the list of those that wait for a person. Its
// bytes and its entry stay.
func (d *Desk) quarantineOff(c echo.Context) error {
	r, err := d.quarantineAsked(c)
	if err != nil {
		return err
	}
	body := &lab.QuarantineSettled{Quarantine: r.ID, Reason: strings.TrimSpace(c.FormValue("reason"))}
	fault := ""
	if p := httpkit.Problems(body.Validate()); len(p) > 0 {
		fault = httpkit.Sentence(p[0])
	} else if body.Reason == "" {
		fault = "This is needed."
	}
	if fault != "" {
		return d.quarantined(c, http.StatusUnprocessableEntity, r.ID, map[string]string{"reason": fault})
	}
	kind, schema, raw, err := lab.Encode(body)
	if err != nil {
		return err
	}
	_, err = d.Intake.Record(c.Request().Context(), r.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		now, err := view.Within(d.read, tx).Quarantined(c.Request().Context(), d.scope(), r.ID)
		if err != nil || now.Settled != nil && !now.Settled.Lifted { // answered in another tab
			return nil, err
		}
		return []ledger.Draft{{Kind: kind, Schema: schema, Author: d.author(c), UID: r.ID, Body: raw}}, nil
	})
	if err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathQuarantine)
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
	r, err := d.quarantineAsked(c)
	if err != nil {
		return err
	}
	return d.serveBlob(c, r.Quarantine.SourceSHA256, r.Quarantine.FileName)
}

package desk

import (
	"iter"
	"net/http"
	"reflect"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// saveInspection records what was seen, once: the id was made with the form.
func (d *Desk) saveInspection(c echo.Context) error {
	in, err := d.beginPosted(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	uid, err := in.uid()
	if err != nil {
		return err
	}
	i, faults, _ := in.judged()
	if in.corrects != uuid.Nil {
		i.Corrects = []uuid.UUID{in.corrects}
	}
	if i.NeedsReason() && strings.TrimSpace(i.Reason) == "" {
		faults["reason"] = "Say why: the criteria do not lead to this verdict."
		if i.Proposed == "" {
			faults["reason"] = "Say why it failed: no criteria led to this verdict."
		}
	}
	if err := d.keepPhotos(c, in, uid); err != nil {
		return err
	}
	if len(faults) == 0 {
		err = i.Validate()
		for _, p := range httpkit.Problems(err) {
			faults[inspectField(p.Where)] = p.What + "; " + p.Fix
		}
	}
	later, err := d.hitBetween(ctx, in, i.EffectiveAt)
	if err != nil {
		return err
	}
	in.doubt(&i, faults, later, time.Now())
	if len(faults) > 0 || len(in.notices) > 0 {
		in.errors = faults
		return d.inspectPage(c, in, http.StatusUnprocessableEntity)
	}
	kind, schema, body, err := lab.Encode(&i)
	if err != nil {
		return err
	}
	other := false
	_, err = d.Intake.Record(ctx, in.row.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		other = false
		if err := tx.Delete(draftTable, draftKey(in.row.ID, in.corrects)); err != nil {
			return nil, err
		}
		had, err := view.Within(d.read, tx).Inspection(ctx, d.scope(), uid)
		if err == nil { // sent twice; what it says now must be what it said then
			other = !reflect.DeepEqual(had.Inspection, i)
			return nil, nil
		}
		if problem.Of(err) != problem.NotFound {
			return nil, err
		}
		return []ledger.Draft{{Kind: kind, Schema: schema, Author: d.author(c), UID: uid, Body: body}}, nil
	})
	if err != nil {
		return err
	}
	if other {
		in.corrects, in.draft = uid, nil
		in.values["inspection"], in.values["corrects"] = uuid.NewString(), uid.String()
		in.notices = []page.Notice{{Level: page.Warn, Text: "This inspection was recorded already, from another page and with other values; nothing was saved now.",
			Fix: "Below is what you entered here. Record it as a correction if it is right."}}
		return d.inspectPage(c, in, http.StatusConflict)
	}
	return httpkit.SeeOther(c, page.ShotPath(in.row.ID.String())+"#inspections")
}

// keepPhotos records the photos that came with the form; they belong to the
// shot, whatever becomes of the inspection.
func (d *Desk) keepPhotos(c echo.Context, in *inspecting, inspection uuid.UUID) error {
	if len(in.taken) == 0 {
		return nil
	}
	out, err := d.recordPhotos(c, in.row.Lab, in.row.ID, "", inspection, "", in.taken)
	if err == nil {
		in.notices = append(in.notices, d.look(c.Request().Context(), out)...)
	}
	return err
}

// inspectField finds the field of the form that a fault of the record names.
func inspectField(where string) string {
	for _, f := range page.InspectFields() {
		if strings.HasSuffix(where, ", "+f.Name) {
			return f.Name
		}
		if element, part, ok := strings.Cut(f.Name, "_"); ok && strings.Contains(where, "finding, "+element) {
			if part == "grade" == !strings.Contains(where, "deformation_mm") {
				return f.Name
			}
		}
	}
	return "verdict"
}

// csv sends a table as a download; an error while it is read ends the answer
// before anything of it was sent.
func (d *Desk) csv(c echo.Context, name string, head []string, rows iter.Seq2[[]string, error]) error {
	b, err := present.CSV(head, rows)
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, httpkit.Disposition(name))
	return c.Blob(http.StatusOK, "text/csv; charset=utf-8", b)
}

package desk

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

func (d *Desk) logRoutes(e *echo.Echo) {
	e.GET(page.PathLog, d.log)
	e.POST(page.PathLog, d.addEntry)
	e.GET(page.PathLog+".csv", d.logCSV)
}

func (d *Desk) logView() *present.LogView {
	return &present.LogView{Read: d.read, Scope: d.scope(), Zone: time.Local, Who: d.personName, May: func(e *present.LogEntry) string {
		switch {
		case e.Note != nil:
			return page.PathLog + "?note=" + e.Note.ID.String() + "#entry"
		case e.Service != nil:
			return page.PathLog + "?service=" + e.Service.ID.String() + "#entry"
		}
		return "" // a mounting is corrected where it is made
	}}
}

func (d *Desk) log(c echo.Context) error {
	old, err := d.entryNamed(c.Request().Context(), c.QueryParam("note"), c.QueryParam("service"))
	if err != nil {
		return err
	}
	values := map[string]string{"topic": lab.NotePlain, "effective_at": time.Now().In(time.Local).Format("2006-01-02T15:04:05")}
	if old != nil {
		values = present.EntryValues(&old.Entry, time.Local)
	}
	return d.logPage(c, old, uuid.NewString(), values, nil, http.StatusOK)
}

// recorded is an entry that is to be corrected.
type recorded struct {
	present.Entry
	id  uuid.UUID
	lab record.LabID
}

// entryNamed finds the entry that a link names; nil when it names none.
func (d *Desk) entryNamed(ctx context.Context, note, service string) (*recorded, error) {
	switch {
	case note != "":
		id, err := uuid.Parse(note)
		if err != nil {
			return nil, noEntry()
		}
		r, err := d.read.Note(ctx, d.scope(), id)
		if err != nil {
			return nil, err
		}
		if r.Replaced() {
			return nil, noEntry()
		}
		return &recorded{present.Entry{Note: &r.Note}, id, r.Lab}, nil
	case service != "":
		id, err := uuid.Parse(service)
		if err != nil {
			return nil, noEntry()
		}
		r, err := d.read.Service(ctx, d.scope(), id)
		if err != nil {
			return nil, err
		}
		if r.Withdrawn != nil {
			return nil, noEntry()
		}
		return &recorded{present.Entry{Service: &r.Service}, id, r.Lab}, nil
	}
	return nil, nil
}

func noEntry() error {
	return problem.New(problem.NotFound, "There is no such entry in the log, or it was corrected already.", "Look it up in the log again.")
}

// logPage shows the log with the form as filled so far.
func (d *Desk) logPage(c echo.Context, old *recorded, id string, values, faults map[string]string, status int) error {
	ctx := c.Request().Context()
	p := page.Log{Frame: d.frame(c, "Log", page.PathLog), Correcting: old != nil}
	form := &page.Form{ID: "entry", Action: page.PathLog, Fields: page.LogFields(), Values: values, Errors: faults, Submit: "Add to the log", Hidden: map[string]string{"entry": id}}
	if old != nil {
		form.Submit = "Record the correction"
		if old.Note != nil {
			form.Hidden["note"] = old.id.String()
		} else {
			form.Hidden["service"] = old.id.String()
		}
	}
	choices := []page.Choice{{Value: "", Text: "no item"}}
	for q := (view.Page{Limit: view.MaxLimit}); ; {
		l, err := d.read.Items(ctx, d.scope(), "", q)
		if err != nil {
			return err
		}
		for i := range l.Rows {
			choices = append(choices, page.Choice{Value: l.Rows[i].ID.String(), Text: l.Rows[i].Item.Title()})
		}
		if q.After = l.Next; l.Next == "" {
			break
		}
	}
	form.Choices = map[string][]page.Choice{"item": choices}
	p.Form = form
	if err := d.logView().Fill(ctx, &p, c.QueryParam("kind"), c.QueryParam("after"), rowsPerPage); err != nil {
		return err
	}
	return httpkit.Page(c, status, p)
}

// addEntry writes an entry once: its id was made with the form.
func (d *Desk) addEntry(c echo.Context) error {
	ctx := c.Request().Context()
	posted, err := c.FormParams()
	if err != nil {
		return problem.New(problem.Invalid, "The form could not be read.", "Send it again from the page.")
	}
	id, err := uuid.Parse(posted.Get("entry"))
	if err != nil {
		return problem.New(problem.Invalid, "The form has no id.", "Open the log anew and fill it in again.")
	}
	old, err := d.entryNamed(ctx, posted.Get("note"), posted.Get("service"))
	if err != nil {
		if problem.Of(err) == problem.NotFound && d.wrote(ctx, id) { // sent twice
			return httpkit.SeeOther(c, page.PathLog)
		}
		return err
	}
	values := page.Typed(posted, page.LogFields())
	e, faults := present.ReadEntry(values, time.Local)
	if old != nil && old.Service != nil && e.Service == nil || old != nil && old.Note != nil && e.Note == nil {
		faults["topic"] = "A correction stays of its kind. To change the kind, correct the old entry's text and add a new entry."
	}
	var body lab.Body = e.Note
	if e.Service != nil {
		body = e.Service
	}
	if len(faults) == 0 {
		for _, p := range httpkit.Problems(body.Validate()) {
			faults[entryField(p.Where)] = p.What + "; " + p.Fix
		}
	}
	if len(faults) > 0 {
		return d.logPage(c, old, id.String(), values, faults, http.StatusUnprocessableEntity)
	}
	of, drafts, err := d.entryDrafts(ctx, id, e, old, d.author(c))
	if err != nil {
		return err
	}
	if _, err = d.Intake.Record(ctx, of, func(tx kv.Tx) ([]ledger.Draft, error) {
		if d.wroteWithin(ctx, view.Within(d.read, tx), id) {
			return nil, nil
		}
		return drafts, nil
	}); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathLog)
}

func (d *Desk) wrote(ctx context.Context, id uuid.UUID) bool { return d.wroteWithin(ctx, d.read, id) }

// wroteWithin says that an entry with this id is recorded.
func (d *Desk) wroteWithin(ctx context.Context, r *view.Reader, id uuid.UUID) bool {
	if _, err := r.Note(ctx, d.scope(), id); err == nil {
		return true
	}
	_, err := r.Service(ctx, d.scope(), id)
	return err == nil
}

// entryDrafts makes the records of an entry. A service is corrected by a new
// one, with the old one withdrawn, so that strokes since service follow.
func (d *Desk) entryDrafts(ctx context.Context, id uuid.UUID, e present.Entry, old *recorded, author string) (of record.LabID, drafts []ledger.Draft, err error) {
	var bodies []lab.Body
	uids := []uuid.UUID{id}
	if old != nil {
		of = old.lab
	}
	switch {
	case e.Note != nil:
		if old != nil {
			e.Note.Corrects = []uuid.UUID{old.id}
		}
		bodies = []lab.Body{e.Note}
	case old != nil:
		bodies, uids = []lab.Body{e.Service, &lab.Withdrawn{Doc: old.id, DocKind: lab.KindService, Reason: "corrected"}}, append(uids, old.id)
	default:
		item, err := d.read.Item(ctx, d.scope(), e.Service.Item)
		if err != nil {
			return of, nil, err
		}
		of, bodies = item.Lab, []lab.Body{e.Service}
	}
	for i, b := range bodies {
		kind, schema, raw, err := lab.Encode(b)
		if err != nil {
			return of, nil, err
		}
		drafts = append(drafts, ledger.Draft{Kind: kind, Schema: schema, Author: author, UID: uids[i], Body: raw})
	}
	return of, drafts, nil
}

// entryField finds the field of the form that a fault of the record names.
func entryField(where string) string {
	for _, f := range page.LogFields() {
		if strings.HasSuffix(where, ", "+f.Name) {
			return f.Name
		}
	}
	return "text"
}

func (d *Desk) logCSV(c echo.Context) error {
	return d.csv(c, "log.csv", present.LogHead(), d.logView().Lines(c.Request().Context(), c.QueryParam("kind")))
}

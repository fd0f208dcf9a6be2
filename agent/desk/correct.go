package desk

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/agent/intake"
	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// trail adds what was changed since the shot was taken in, and the forms that
// change it; pressures are in the unit in.
func (d *Desk) trail(ctx context.Context, p *page.Shot, row *view.ShotRow, scores []view.ScoreRow, in string) error {
	t := present.Trail{Scores: scores, Zone: time.Local, Who: d.personName, Unit: in}
	p.TakenBy = d.personName(row.Author)
	var err error
	if t.Edits, err = d.read.History(ctx, d.scope(), lab.KindShot, row.ID); err != nil {
		return err
	}
	if t.Voids, err = d.read.Voids(ctx, d.scope(), row.ID); err != nil {
		return err
	}
	if t.Accepted, err = d.read.Acceptances(ctx, d.scope(), row.ID); err != nil {
		return err
	}
	t.Show(p, row, true)
	p.Void.Hidden[acceptedField] = acceptedSeen(t.Accepted)
	p.Fired = &page.Form{ID: "fired", Action: page.FiredPath(row.ID.String()), Fields: page.FiredFields(), Submit: "Save the time",
		Values: map[string]string{"fired_at": row.Shot.EffectiveAt.Time().In(time.Local).Format("2006-01-02T15:04:05")}}
	if present.Waiting(row) {
		p.Correct = nil // the form above asks the same
	}
	return nil
}

func (d *Desk) correct(c echo.Context) error {
	in := typedUnit(c)
	return d.amend(c, "correct", page.AssignFields(in), func(row *view.ShotRow, typed map[string]string) (amend.Change, map[string]string, error) {
		want, faults := present.Corrections(row, typed, in)
		if want["operator"] != nil {
			want["operator"] = present.KeptOperator(typed["operator"], c.FormValue)
		}
		err := d.doubted(c, row, want, typed, faults)
		return amend.Correct(want, c.FormValue(page.SeenField), d.author(c)), faults, err
	})
}

// fired corrects when a shot was fired.
func (d *Desk) fired(c echo.Context) error {
	id, err := d.id(c)
	if err != nil {
		return err
	}
	text := c.FormValue("fired_at")
	at, err := present.ReadTime(text, time.Local)
	if err == nil {
		_, err = d.Intake.Assign(c.Request().Context(), intake.Assignment{Shot: id, Meta: lab.Meta{FiredAt: lab.At(at)}, Author: d.author(c)})
		if err == nil {
			return httpkit.SeeOther(c, page.ShotPath(id.String()))
		}
		if problem.Of(err) != problem.Invalid {
			return err
		}
	}
	p, err := d.shotPage(c, &tried{form: "fired", typed: map[string]string{"fired_at": text}, faults: map[string]string{"fired_at": sentence(err)}})
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusUnprocessableEntity, *p)
}

func (d *Desk) void(c echo.Context) error {
	return d.amend(c, "void", page.VoidFields(), func(row *view.ShotRow, typed map[string]string) (amend.Change, map[string]string, error) {
		faults := map[string]string{}
		if typed["reason"] == "" {
			faults["reason"] = "This is needed."
		}
		if err := d.stillUndecided(c, row.ID); err != nil {
			return nil, nil, err
		}
		return amend.Void(typed["reason"], c.FormValue("void") == "no", c.FormValue(page.SeenField), d.author(c)), faults, nil
	})
}

// amend takes a form that changes a shot. What is wrong is shown beside what
// was typed.
func (d *Desk) amend(c echo.Context, form string, fields []page.Field, read func(*view.ShotRow, map[string]string) (amend.Change, map[string]string, error)) error {
	id, err := d.id(c)
	if err != nil {
		return err
	}
	posted, err := c.FormParams()
	if err != nil {
		return problem.New(problem.Invalid, "The form could not be read.", "Send it again from the page.")
	}
	typed := page.Typed(posted, fields)
	row, err := d.read.Shot(c.Request().Context(), d.scope(), id)
	if err != nil {
		return err
	}
	change, faults, err := read(&row, typed)
	if p, ok := problem.As(err); ok && p.Code == problem.Conflict {
		return d.changedMeanwhile(c, p)
	}
	if err != nil {
		return err
	}
	if len(faults) == 0 {
		_, err = d.Intake.Amend(c.Request().Context(), id, change)
		p, ok := problem.As(err)
		switch {
		case err == nil:
			return httpkit.SeeOther(c, page.ShotPath(id.String()))
		case ok && p.Code == problem.Conflict:
			return d.changedMeanwhile(c, p)
		case !ok || p.Code != problem.Invalid:
			return err
		}
		at := fields[0].Name
		if form == "correct" {
			at = present.FieldAt(p)
		}
		faults = map[string]string{at: p.What + "; " + p.Fix}
	}
	p, err := d.shotPage(c, &tried{form: form, unit: typedUnit(c), typed: typed, faults: faults})
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusUnprocessableEntity, *p)
}

// changedMeanwhile shows the shot as it is now, and that nothing was saved.
func (d *Desk) changedMeanwhile(c echo.Context, why *problem.Error) error {
	p, err := d.shotPage(c, nil)
	if err != nil {
		return err
	}
	p.Notices = append([]page.Notice{{Level: page.Warn, Text: why.What, Fix: why.Fix}}, p.Notices...)
	return httpkit.Page(c, http.StatusConflict, *p)
}

// settle lets one of several values of a field hold.
func (d *Desk) settle(c echo.Context) error {
	id, err := d.id(c)
	if err != nil {
		return err
	}
	change, err := d.settling(c, id)
	if err == nil {
		_, err = d.Intake.Amend(c.Request().Context(), id, change)
	}
	if p, ok := problem.As(err); ok && p.Code == problem.Conflict {
		return d.changedMeanwhile(c, p)
	}
	if err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.ShotPath(id.String()))
}

func (d *Desk) settling(c echo.Context, id uuid.UUID) (amend.Change, error) {
	row, err := d.read.Shot(c.Request().Context(), d.scope(), id)
	if err != nil {
		return nil, err
	}
	field := c.FormValue("field")
	keep, err := present.ParseKeep(c.FormValue("keep"), row.Edited, field)
	return amend.Settle(field, keep, c.FormValue(page.SeenField), d.author(c)), err
}

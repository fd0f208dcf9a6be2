package desk

import (
	"cmp"
	"context"
	"net/http"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// trail adds what was changed since the shot was taken in, and for those who
// may change its lab the forms; pressures are in the unit in.
func (d *Desk) trail(ctx context.Context, p *caller, s *page.Shot, row *view.ShotRow, scores []view.ScoreRow, in string) error {
	t := present.Trail{Scores: scores, Zone: d.zone, Unit: in}
	var err error
	if t.Edits, err = d.Views.History(ctx, p.Scope, lab.KindShot, row.ID); err != nil {
		return err
	}
	if t.Voids, err = d.Views.Voids(ctx, p.Scope, row.ID); err != nil {
		return err
	}
	if t.Accepted, err = d.Views.Acceptances(ctx, p.Scope, row.ID); err != nil {
		return err
	}
	if t.Who, err = d.authors(ctx, p.Scope); err != nil {
		return err
	}
	if s.TakenBy, err = d.person(ctx, p.Scope, row.Author); err != nil {
		return err
	}
	of, err := p.names.Lab(ctx, row.Lab)
	if err != nil {
		return err
	}
	t.Show(s, row, of != nil && p.MayKeep(of.ID))
	forms := []*page.Form{s.Correct, s.Void}
	if s.Stated != nil {
		forms = append(forms, s.Stated.Again)
	}
	for _, f := range forms {
		if f != nil {
			f.Key = httpkit.NewKey()
		}
	}
	return nil
}

// person names one of the people at the rigs; "" for others.
func (d *Desk) person(ctx context.Context, sc scope.Scope, author string) (string, error) {
	id, err := uuid.Parse(author)
	if err != nil {
		return "", nil
	}
	p, err := d.People.Find(ctx, sc, id)
	if problem.Of(err) == problem.NotFound {
		return "", nil
	}
	return p.Name, err
}

// authors names the accounts of this server, and the people at the rigs of a
// scope, by the id that stands in records.
func (d *Desk) authors(ctx context.Context, sc scope.Scope) (func(string) string, error) {
	all, err := d.Accounts.List(ctx)
	if err != nil {
		return nil, err
	}
	names := map[string]string{}
	for i := range all {
		names[all[i].ID.String()] = cmp.Or(all[i].Name, all[i].Login)
	}
	rig, err := d.People.Names(ctx, sc)
	if err != nil {
		return nil, err
	}
	away, err := d.foreigner(ctx, sc)
	return func(author string) string { return cmp.Or(names[author], rig(author), away(author)) }, err
}

// change writes what a person changes of a shot of a lab that they keep.
func (d *Desk) change(ctx context.Context, c echo.Context, do func(*view.ShotRow, string) (amend.Change, error)) (string, error) {
	p, in, row, err := d.keptShot(ctx, c)
	if err != nil {
		return "", err
	}
	act, err := do(&row, p.Author())
	if err != nil || act == nil {
		return "", err
	}
	if _, err = amend.Shot(ctx, d.Register.Ledger, d.Views, p.Scope, row.ID, act); err != nil {
		return "", err
	}
	if err := d.byStated(ctx, &p, in, row.ID); err != nil { // the correction holds; the page asks for the rest
		d.Log.Warn("the correction is saved; the shot could not be scored again by it", "shot", row.ID, "error", err)
	}
	return page.ShotPath(row.ID.String()), nil
}

// keptShot gives the shot of an address, of a lab that the caller keeps, and that lab.
func (d *Desk) keptShot(ctx context.Context, c echo.Context) (p caller, in record.LabID, row view.ShotRow, err error) {
	if p, err = d.caller(c); err != nil {
		return p, in, row, err
	}
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return p, in, row, notFound("shot")
	}
	if row, err = d.Views.Shot(ctx, p.Scope, id); err != nil {
		return p, in, row, err
	}
	of, err := p.names.Lab(ctx, row.Lab)
	if err != nil {
		return p, in, row, err
	}
	if of == nil {
		return p, in, row, notFound("shot")
	}
	return p, of.ID, row, register.MayKeep(p.Principal, of.ID)
}

// shotUnit is the unit of a shot's pressures: that of its lab, and on a form that
// comes back the one in which it was typed.
func (d *Desk) shotUnit(c echo.Context, own scope.Scope) (string, error) {
	if typed := c.FormValue(page.UnitField); slices.Contains(lab.PressureUnits(), typed) {
		return typed, nil
	}
	in, err := d.Views.PressureUnit(c.Request().Context(), own)
	return cmp.Or(in, "kPa"), err
}

func (d *Desk) correct(c echo.Context) error {
	in := cmp.Or(c.FormValue(page.UnitField), "kPa")
	return d.post(c, page.AssignFields(in), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		return d.change(ctx, c, func(row *view.ShotRow, author string) (amend.Change, error) {
			want, faults := present.Corrections(row, f.Values, in)
			if want["operator"] != nil {
				want["operator"] = present.KeptOperator(f.Values["operator"], c.FormValue)
			}
			for field, text := range faults {
				f.Fault(field, "%s", text)
			}
			if !f.OK() {
				return nil, nil
			}
			return amend.Correct(want, c.FormValue(page.SeenField), author), nil
		})
	}, d.shotAgain("correct"))
}

func (d *Desk) void(c echo.Context) error {
	return d.post(c, page.VoidFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		return d.change(ctx, c, func(_ *view.ShotRow, author string) (amend.Change, error) {
			if !f.OK() {
				return nil, nil
			}
			return amend.Void(f.Values["reason"], c.FormValue("void") == "no", c.FormValue(page.SeenField), author), nil
		})
	}, d.shotAgain("void"))
}

// settle lets one of several values of a field hold.
func (d *Desk) settle(c echo.Context) error {
	return d.post(c, nil, func(ctx context.Context, _ *httpkit.Filled) (string, error) {
		return d.change(ctx, c, func(row *view.ShotRow, author string) (amend.Change, error) {
			field := c.FormValue("field")
			keep, err := present.ParseKeep(c.FormValue("keep"), row.Edited, field)
			return amend.Settle(field, keep, c.FormValue(page.SeenField), author), err
		})
	}, d.shotAgain(""))
}

// shotAgain shows the shot again, with the form that was not accepted; after a
// conflict with what holds now in it.
func (d *Desk) shotAgain(form string) func(echo.Context, *httpkit.Filled, int) error {
	return func(c echo.Context, f *httpkit.Filled, status int) error {
		s, err := d.shotPage(c)
		if err != nil {
			return err
		}
		s.Notices = append(append([]page.Notice{}, f.Other...), s.Notices...)
		for _, x := range []*page.Form{s.Correct, s.Void} {
			if x != nil && x.ID == form && status != httpkit.Status(problem.Conflict) {
				f.Into(x)
			}
		}
		return httpkit.Page(c, max(status, http.StatusBadRequest), *s)
	}
}

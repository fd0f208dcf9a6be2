package desk

import (
	"maps"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

const assignAtOnce = 20

// toAssign lists the shots that wait for what their files did not say.
func (d *Desk) toAssign(c echo.Context) error {
	after := c.QueryParam("after")
	list, err := d.read.ToAssign(c.Request().Context(), d.scope(), view.Page{Limit: assignAtOnce, After: after})
	if err != nil {
		return err
	}
	in := d.unit(c.Request().Context())
	p := page.ToAssign{Frame: d.frame(c, "To assign", page.PathAssign)}
	if after == "" {
		open, err := d.gapNotices(c.Request().Context())
		if err != nil {
			return err
		}
		p.Notices = append(p.Notices, open...)
	}
	if list.Next != "" {
		p.Older = page.PathAssign + "?" + url.Values{"after": {list.Next}}.Encode()
	}
	if after != "" {
		p.Newest = page.PathAssign
	}
	for i := range list.Rows {
		r := &list.Rows[i]
		whole, err := d.whole(c.Request().Context(), r, "assign")
		if err != nil {
			return err
		}
		p.Rows = append(p.Rows, page.AssignRow{Shot: present.ShotRow(r, time.Local), File: r.Shot.FileName, Missing: present.Lacking(r), Whole: whole,
			Form: d.assignForm(r, "a"+strconv.Itoa(i), in)})
	}
	return httpkit.Page(c, http.StatusOK, p)
}

// assignForm offers what is known, and for the rest what was typed last: at
// the rig the next shot is mostly like the one before.
// The operator is who was signed in when the shot was taken in, where nothing else
// is recorded.
func (d *Desk) assignForm(r *view.ShotRow, id, in string) page.Form {
	f := page.Form{Action: page.AssignPath(r.ID.String()), Fields: page.AssignFields(in), ID: id, Submit: "Assign", Fold: page.MeasuredFold, Hidden: map[string]string{page.UnitField: in},
		Choices: map[string][]page.Choice{"condition": present.Conditions()}, Values: present.Recorded(r, in)}
	if f.Values["operator"] == "" && d.personName(r.Author) != "" {
		f.Values["operator"] = r.Author
	}
	present.NameOperator(&f, func(id string) string { return present.Operator(id, d.personName) })
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, name := range []string{"specimen", "location", "operator"} {
		if last := d.picked[name]; last != "" {
			f.Choices[name] = append(f.Choices[name], page.Choice{Value: last, Text: last})
		}
	}
	return f
}

// assign takes the form. What is wrong is shown beside what was typed.
func (d *Desk) assign(c echo.Context) error {
	id, err := d.id(c)
	if err != nil {
		return err
	}
	form, err := c.FormParams()
	if err != nil {
		return problem.New(problem.Invalid, "The form could not be read.", "Send it again from the page.")
	}
	row, err := d.read.Shot(c.Request().Context(), d.scope(), id)
	if err != nil {
		return err
	}
	in := typedUnit(c)
	typed := page.Typed(form, page.AssignFields(in))
	want, faults := present.Corrections(&row, typed, in)
	if want["operator"] != nil {
		want["operator"] = present.KeptOperator(typed["operator"], c.FormValue)
	}
	maps.DeleteFunc(want, func(_ string, v any) bool { return v == nil }) // what is left empty stays as it is
	if err := d.doubted(c, &row, want, typed, faults); err != nil {
		return err
	}
	if len(faults) == 0 {
		given := map[string]any{}
		if row.Shot.Operator == "" && present.OperatorUntouched(typed["operator"], c.FormValue) {
			given["operator"] = want["operator"] // nobody typed it
			delete(want, "operator")
		}
		_, err = d.Intake.Amend(c.Request().Context(), id, amend.All(amend.Correct(want, "", d.author(c)), amend.Correct(given, "", lab.AuthorMeta)))
		if err == nil {
			d.remember(typed)
			return httpkit.SeeOther(c, page.ShotPath(id.String()))
		}
		if problem.Of(err) != problem.Invalid {
			return err
		}
		p, _ := problem.As(err)
		faults = map[string]string{present.FieldAt(p): p.What + "; " + p.Fix}
	}
	p, err := d.shotPage(c, &tried{form: "assign", unit: in, typed: typed, faults: faults})
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusUnprocessableEntity, *p)
}

func (d *Desk) remember(typed map[string]string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, name := range []string{"specimen", "location", "operator"} {
		if typed[name] != "" {
			d.picked[name] = typed[name]
		}
	}
}

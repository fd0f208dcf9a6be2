package desk

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/agent/intake"
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
	list, err := d.read.ToAssign(c.Request().Context(), d.scope(), view.Page{Limit: assignAtOnce})
	if err != nil {
		return err
	}
	p := page.ToAssign{Frame: d.frame(c, "To assign", page.PathAssign)}
	if list.Next != "" {
		p.Notices = append(p.Notices, page.Notice{Text: fmt.Sprintf("The newest %d are shown; the others follow when these are done.", assignAtOnce)})
	}
	for i := range list.Rows {
		r := &list.Rows[i]
		p.Rows = append(p.Rows, page.AssignRow{Shot: present.ShotRow(r, time.Local), File: r.Shot.FileName, Missing: present.Lacking(r),
			Form: d.assignForm(r, "a"+strconv.Itoa(i))})
	}
	return httpkit.Page(c, http.StatusOK, p)
}

// assignForm offers what is known, and for the rest what was typed last: at
// the rig the next shot is mostly like the one before.
func (d *Desk) assignForm(r *view.ShotRow, id string) page.Form {
	m := &r.Shot.Meta
	f := page.Form{Action: page.AssignPath(r.ID.String()), Fields: page.AssignFields(), ID: id, Submit: "Assign", Choices: map[string][]page.Choice{
		"condition": {{Value: "ambient", Text: "ambient"}, {Value: "hot", Text: "hot"}, {Value: "cold", Text: "cold"}, {Value: "wet", Text: "wet"}}}}
	f.Values = map[string]string{"kind": r.Shot.Kind, "specimen": m.Specimen, "location": m.Location, "condition": m.Condition, "operator": m.Operator,
		"target_speed_m_s": plainNumber(m.TargetSpeedMS), "tank_pressure_kpa_gauge": plainNumber(m.TankPressureKPaGauge)}
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, name := range []string{"specimen", "location", "operator"} {
		if last := d.picked[name]; last != "" {
			f.Choices[name] = append(f.Choices[name], page.Choice{Value: last, Text: last})
		}
	}
	return f
}

func plainNumber(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
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
	typed := page.Typed(form, page.AssignFields())
	meta, faults := metaOf(typed)
	if len(faults) == 0 {
		_, err = d.Intake.Assign(c.Request().Context(), intake.Assignment{Shot: id, Meta: meta, Kind: typed["kind"]})
		if err == nil {
			d.remember(typed)
			return httpkit.SeeOther(c, page.ShotPath(id.String()))
		}
		if problem.Of(err) != problem.Invalid {
			return err
		}
		p, _ := problem.As(err)
		faults = map[string]string{fieldOf(p): p.What + "; " + p.Fix}
	}
	p, err := d.shotPage(c, typed, faults)
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusUnprocessableEntity, *p)
}

// fieldOf finds the form's field in the place of a fault, "meta, specimen".
func fieldOf(p *problem.Error) string {
	for _, f := range page.AssignFields() {
		if strings.HasSuffix(p.Where, f.Name) {
			return f.Name
		}
	}
	return "kind"
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

// metaOf reads the form's fields; faults are by field name.
func metaOf(typed map[string]string) (m lab.Meta, faults map[string]string) {
	faults = map[string]string{}
	m.Specimen, m.Location, m.Condition, m.Operator = typed["specimen"], typed["location"], typed["condition"], typed["operator"]
	read := func(name string, least, most float64, unit string) *float64 {
		s := typed[name]
		if s == "" {
			return nil
		}
		v, err := page.ParseDecimal(s)
		switch {
		case err != nil:
			faults[name] = err.Error()
		case v < least || v > most:
			faults[name] = fmt.Sprintf("%g is outside %g to %g %s; check the number and its unit", v, least, most, unit)
		}
		return &v
	}
	m.TargetSpeedMS = read("target_speed_m_s", 0.1, 100, "m/s")
	m.TankPressureKPaGauge = read("tank_pressure_kpa_gauge", 0, 20000, "kPa")
	return m, faults
}

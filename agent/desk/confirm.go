package desk

import (
	"maps"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// confirm records that a shot is about to be fired, planned or free. The same
// form sent twice is one shot.
func (d *Desk) confirm(c echo.Context) error {
	ctx := c.Request().Context()
	form, err := c.FormParams()
	if err != nil {
		return problem.New(problem.Invalid, "The form could not be read.", "Send it again from the page.")
	}
	key, err := uuid.Parse(form.Get(page.KeyField))
	if err != nil {
		return problem.New(problem.Invalid, "This page is out of date, so nothing was saved.", "Open the screen again and enter it there.")
	}
	if _, err := d.read.Expected(ctx, d.scope(), key); err == nil {
		return httpkit.SeeOther(c, page.PathResult)
	} else if problem.Of(err) != problem.NotFound {
		return err
	}
	in := d.unit(ctx)
	typed, atCheck := page.Typed(form, page.FreeFields(in)), form.Get("from") == "check"
	e, faults := d.expectation(c, typed, in)
	if before, err := d.waiting(ctx); err != nil {
		return err
	} else if before != nil {
		return d.confirmedBefore(c, before, e, &tried{typed: typed, faults: faults})
	}
	if atCheck && typed[page.PadField] == "" {
		faults[page.PadField] = "Say by its serial number which pad is hit."
	}
	if faults["pressure"] == "" && c.FormValue(page.AboveField) == "" {
		above, err := d.aboveRated(ctx, *e.TankPressureKPaGauge, in)
		if err == nil && above == "" {
			above, err = d.farAbove(ctx, *e.TankPressureKPaGauge, in)
		}
		if err != nil {
			return err
		}
		if above != "" {
			faults["pressure"] = above
			typed[page.AboveField] = "ask"
		}
	}
	doubts := map[string]string{}
	if e.Campaign == uuid.Nil && !atCheck && e.Kind == lab.ShotHit {
		if doubts, err = d.freeDoubts(ctx, e); err != nil {
			return err
		}
	}
	if text := speedDoubt(&e.Meta); text != "" {
		doubts["speed_m_s"] = text
	}
	ask(c, doubts, typed, faults)
	if len(faults) == 0 {
		if err = d.write(c, key, e); err == nil {
			d.remember(typed)
			return httpkit.SeeOther(c, page.PathResult)
		}
		pr, ok := problem.As(err)
		if !ok || pr.Code != problem.Invalid {
			return err
		}
		faults = map[string]string{fieldOf(pr.Where, typed): pr.What + "; " + pr.Fix}
	}
	return d.confirmAgain(c, e, &tried{typed: typed, faults: faults}, http.StatusUnprocessableEntity)
}

// confirmAgain shows the screen that a form came from, with what was typed.
func (d *Desk) confirmAgain(c echo.Context, e *lab.Expected, t *tried, status int, notices ...page.Notice) error {
	if c.FormValue("from") == "check" {
		p, err := d.checkPage(c, t)
		if err != nil {
			return err
		}
		p.Notices = append(notices, p.Notices...)
		return httpkit.Page(c, status, *p)
	}
	if t.form = "free"; e.Campaign != uuid.Nil {
		t.form = "confirm"
	}
	p, err := d.nextPage(c, t)
	if err != nil {
		return err
	}
	p.Notices = append(notices, p.Notices...)
	return httpkit.Page(c, status, *p)
}

// fieldOf is the field of the form that a fault of the record is about; the
// pressure where it is none that was typed.
func fieldOf(where string, typed map[string]string) string {
	if i := strings.LastIndex(where, ", "); i >= 0 {
		where = where[i+2:]
	}
	if typed[where] != "" {
		return where
	}
	return "pressure"
}

// expectation reads the form of a planned or a free shot.
func (d *Desk) expectation(c echo.Context, typed map[string]string, in string) (*lab.Expected, map[string]string) {
	ctx := c.Request().Context()
	faults := map[string]string{}
	e := &lab.Expected{Rig: d.Intake.Rig(), Kind: typed["kind"], EffectiveAt: lab.At(time.Now()), Meta: lab.Meta{Operator: d.author(c)},
		MetaTyped: []string{"tank_pressure_kpa_gauge"}}
	if e.Kind == "" {
		e.Kind = lab.ShotHit
	}
	kpa, err := present.KPa(typed["pressure"], in)
	if err != nil {
		faults["pressure"] = err.Error()
	}
	e.TankPressureKPaGauge = &kpa
	for name, to := range map[string]**float64{"speed_m_s": &e.SpeedMS, "ambient_c": &e.AmbientC, "relative_humidity_percent": &e.RelativeHumidityPercent} {
		if typed[name] != "" {
			v, err := page.ParseDecimal(typed[name])
			if err != nil {
				faults[name] = err.Error()
			}
			*to, e.MetaTyped = &v, append(e.MetaTyped, name)
		}
	}
	if id, err := uuid.Parse(c.FormValue("campaign")); err == nil {
		s, err := present.ParseStep(c.FormValue)
		if err != nil {
			faults["pressure"] = "The planned hit could not be read; reload the page."
		}
		e.Campaign, e.Specimen, e.Location, e.Condition, e.TargetSpeedMS = id, s.Specimen, s.Location, s.Condition, &s.TargetSpeedMS
		e.ToleranceMS = d.tolerance(c, e)
	} else {
		if e.ReferencePad = typed[page.PadField]; e.ReferencePad != "" {
			e.MetaTyped = append(e.MetaTyped, page.PadField)
		}
		e.Specimen, e.Location, e.Condition = typed["specimen"], typed["location"], typed["condition"]
		for name, v := range map[string]string{"specimen": e.Specimen, "location": e.Location, "condition": e.Condition} {
			if v != "" {
				e.MetaTyped = append(e.MetaTyped, name)
			}
		}
		if t := typed["target_speed_m_s"]; t != "" {
			v, err := page.ParseDecimal(t)
			if err != nil {
				faults["target_speed_m_s"] = err.Error()
			}
			e.TargetSpeedMS, e.MetaTyped = &v, append(e.MetaTyped, "target_speed_m_s")
		}
	}
	if e.Specimen != "" {
		if at, err := d.read.TakenOut(ctx, d.scope(), e.Specimen); err == nil {
			e.OutOfChamberAt = at
		}
	}
	return e, faults
}

// tolerance is that of the cell of the plan which the hit belongs to.
func (d *Desk) tolerance(c echo.Context, e *lab.Expected) float64 {
	row, err := d.read.Campaign(c.Request().Context(), d.scope(), e.Campaign)
	if err != nil {
		return 0
	}
	return toleranceIn(row.Campaign.Cells, &e.Meta)
}

// toleranceIn finds the tolerance of the cell that counts a hit, 0 without one.
func toleranceIn(cells []lab.Cell, m *lab.Meta) float64 {
	if c := cellIn(cells, m); c != nil {
		return c.ToleranceMS
	}
	return 0
}

// cellIn finds the cell that counts a hit, nil without one.
func cellIn(cells []lab.Cell, m *lab.Meta) (anyCondition *lab.Cell) {
	for i := range cells {
		x := &cells[i]
		if m.TargetSpeedMS == nil || lab.Fold(x.Location) != lab.Fold(m.Location) || lab.MillimetresPerSecond(x.TargetSpeedMS) != lab.MillimetresPerSecond(*m.TargetSpeedMS) {
			continue
		}
		switch lab.Fold(x.Condition) {
		case lab.Fold(m.Condition):
			return x
		case "":
			anyCondition = x
		}
	}
	return anyCondition
}

// order changes the run order.
func (d *Desk) order(c echo.Context) error {
	id, err := uuid.Parse(c.FormValue("campaign"))
	step, err2 := present.ParseStep(c.FormValue)
	if err != nil || err2 != nil {
		return problem.New(problem.Invalid, "The planned hit could not be read.", "Reload the page and try again.")
	}
	b := &lab.RunOrder{Campaign: id, Do: c.FormValue("do"), Step: step}
	switch b.Do {
	case lab.RunSkip:
		b.Reason = c.FormValue("reason")
	case lab.RunBefore:
		before, err := present.ParseStep(func(name string) string { return c.FormValue("before_" + name) })
		if err != nil {
			return problem.New(problem.Invalid, "The hit to go in front of could not be read.", "Reload the page and try again.")
		}
		b.Before = &before
	}
	err = d.write(c, id, b)
	if p, ok := problem.As(err); ok && b.Do == lab.RunSkip && strings.HasSuffix(p.Where, ", reason") {
		return d.orderAgain(c, b, p)
	}
	if err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathNext+"?campaign="+id.String()+"#order")
}

// orderAgain shows the run order with the reason marked that was not taken.
func (d *Desk) orderAgain(c echo.Context, b *lab.RunOrder, why *problem.Error) error {
	p, err := d.nextPage(c, nil)
	if err != nil {
		return err
	}
	want := present.StepFields(b.Step)
	want["campaign"] = b.Campaign.String()
	i := slices.IndexFunc(p.Order, func(r page.OrderRow) bool { return maps.Equal(r.Hidden, want) })
	if i < 0 {
		return why
	}
	if p.Order[i].Reason, p.Order[i].Bad = b.Reason, why.What+"; "+why.Fix; b.Reason == "" {
		p.Order[i].Bad = "Say why it is skipped."
	}
	p.Notices = append([]page.Notice{{Level: page.Bad, Text: "The hit was not skipped: its reason was not taken.", Link: "To the run order", Href: "#order"}}, p.Notices...)
	return httpkit.Page(c, http.StatusUnprocessableEntity, *p)
}

// takenOut starts or ends the time out of the chamber.
func (d *Desk) takenOut(c echo.Context) error {
	b := &lab.TakenOut{Specimen: c.FormValue("specimen"), Condition: c.FormValue("condition"), EffectiveAt: lab.At(time.Now()), Back: c.FormValue("back") == "yes"}
	if err := d.write(c, uuid.New(), b); err != nil {
		return err
	}
	to := page.PathNext
	if id, err := uuid.Parse(c.FormValue("campaign")); err == nil {
		to += "?campaign=" + id.String()
	}
	return httpkit.SeeOther(c, to)
}

// setUnit chooses the unit in which pressures are typed and shown.
func (d *Desk) setUnit(c echo.Context) error {
	if err := d.write(c, d.Intake.Lab(), &lab.Display{Pressure: c.FormValue("pressure")}); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathNext)
}

// toleranceOf finds what tolerance a shot's campaigns give it, 0 for none.
func (d *Desk) toleranceOf(c echo.Context, r *view.ShotRow) (float64, error) {
	if r.Shot.Specimen == "" {
		return 0, nil
	}
	list, err := d.read.Campaigns(c.Request().Context(), d.scope(), view.Page{Limit: view.MaxLimit})
	for i := range list.Rows {
		k := &list.Rows[i].Campaign
		for _, s := range k.Specimens {
			if lab.Fold(s) == lab.Fold(r.Shot.Specimen) {
				if t := toleranceIn(k.Cells, &r.Shot.Meta); t > 0 {
					return t, err
				}
			}
		}
	}
	return 0, err
}

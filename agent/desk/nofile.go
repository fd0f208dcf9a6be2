package desk

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// end says that no file is to come: not fired, or fired and no file was written.
func (d *Desk) end(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := d.formID(c, "expected")
	if err != nil {
		return err
	}
	e, err := d.read.Expected(ctx, d.scope(), id)
	if err != nil {
		return err
	}
	if !e.Open() {
		return d.endedBefore(c, e)
	}
	fired, reason := c.FormValue("fired") == "yes", c.FormValue("reason")
	if reason == "" {
		t := &tried{form: "end", faults: map[string]string{"reason": "This is needed."}}
		if fired {
			t.form, t.typed = "nofile", map[string]string{"specimen": c.FormValue("specimen"), "location": c.FormValue("location"), "condition": c.FormValue("condition")}
		}
		p, err := d.resultPage(c, t)
		if err != nil {
			return err
		}
		return httpkit.Page(c, http.StatusUnprocessableEntity, *p)
	}
	if fired {
		s := &lab.Strokes{Rig: e.Expected.Rig, Kind: lab.StrokeNoFile, Number: 1, TankPressureKPaGauge: e.Expected.TankPressureKPaGauge, EffectiveAt: lab.At(time.Now()), Reason: reason}
		hit(c, s, &e.Expected)
		if err := d.write(c, uuid.NewSHA1(e.ID, []byte("stroke")), s); err != nil {
			return err
		}
	}
	if err := d.write(c, e.ID, &lab.ExpectedSettled{Expected: e.ID, Reason: reason}); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PathNext)
}

// endedBefore says that a form came after what it asks was settled, from another
// tab or by a file, so that it recorded nothing.
func (d *Desk) endedBefore(c echo.Context, e *view.ExpectedRow) error {
	p, err := d.resultPage(c, nil)
	if err != nil {
		return err
	}
	n := page.Notice{Level: page.Warn, Text: "Nothing was recorded now: it was said before that no file is to come.", Fix: "If another stroke was fired, count it under Strokes.", Link: "Strokes", Href: page.PathStrokes}
	if e.Shot() != uuid.Nil {
		n.Text = "Nothing was recorded now: the file of this stroke came before."
	}
	p.Notices = append([]page.Notice{n}, p.Notices...)
	return httpkit.Page(c, http.StatusConflict, *p)
}

// hit says what a stroke without a file hit: what was typed, or what was confirmed
// where the form did not ask.
func hit(c echo.Context, s *lab.Strokes, x *lab.Expected) {
	if x.Kind != lab.ShotHit {
		return
	}
	at := x.Meta
	if form, err := c.FormParams(); err == nil && form.Has("specimen") {
		at.Specimen, at.Location, at.Condition = form.Get("specimen"), form.Get("location"), form.Get("condition")
	}
	if lab.Fold(at.Specimen) != "" {
		s.Specimen, s.Location, s.Condition, s.TargetSpeedMS = at.Specimen, at.Location, at.Condition, at.TargetSpeedMS
	}
}

// askHit asks in the form of a stroke without a file what was hit, beginning with
// what was confirmed.
func (d *Desk) askHit(ctx context.Context, f *page.Form, x *lab.Expected) error {
	plans, err := d.planned(ctx)
	if err != nil {
		return err
	}
	f.Fields, f.Values = page.NoFileFields(), map[string]string{"specimen": x.Specimen, "location": x.Location, "condition": x.Condition}
	f.Choices = map[string][]page.Choice{"condition": present.Conditions()}
	plans.choices(f.Choices)
	return nil
}

// bareHitNotice says that a specimen was hit without a file coming of it: it
// carries that hit into the next one.
func (d *Desk) bareHitNotice(ctx context.Context, specimen string) ([]page.Notice, error) {
	l, err := d.read.UnfiledHits(ctx, d.scope(), specimen, view.Page{Limit: view.MaxLimit})
	if err != nil || len(l.Rows) == 0 {
		return nil, err
	}
	last := &l.Rows[len(l.Rows)-1].Strokes
	text := fmt.Sprintf("%s was hit once without a file coming of it, %s", specimen, page.ShowMoment(present.Moment(last.EffectiveAt, time.Local)))
	if n := len(l.Rows); n > 1 {
		text = fmt.Sprintf("%s was hit %d times without a file coming of it, the last time %s", specimen, n, page.ShowMoment(present.Moment(last.EffectiveAt, time.Local)))
	}
	if last.Location != "" {
		text += ", " + last.Location
	}
	return []page.Notice{{Level: page.Warn, Text: text + ". It carries that into the next hit.", Fix: "Look at it before it is hit again; if the plan asks for a specimen that was not hit there, take another.", Link: "Its hits", Href: page.SpecimenPath(specimen)}}, nil
}

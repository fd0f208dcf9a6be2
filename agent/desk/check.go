package desk

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/inventory"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

func (d *Desk) checks(now time.Time) *present.Checks {
	return &present.Checks{Read: d.read, Scope: d.scope(), Rig: d.Intake.Rig(), Now: now.In(time.Local)}
}

// check shows today's system check and its history, and how to do one.
func (d *Desk) check(c echo.Context) error {
	p, err := d.checkPage(c, nil)
	if err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, *p)
}

func (d *Desk) checkPage(c echo.Context, t *tried) (*page.Check, error) {
	ctx, in := c.Request().Context(), d.unit(c.Request().Context())
	p := &page.Check{Frame: d.frame(c, "System check", page.PathCheck), Path: page.PathCheck}
	if err := d.checks(time.Now()).Fill(ctx, p, c.QueryParam("pad"), c.QueryParam("series")); err != nil {
		return nil, err
	}
	e, err := d.waiting(ctx)
	if err != nil {
		return nil, err
	}
	if e != nil && t == nil {
		p.Notices = append(p.Notices, page.Notice{Level: page.Warn, Text: "A shot is confirmed and waits for its file.", Fix: "Settle it first; then confirm the check here.", Link: "See it", Href: page.PathResult})
		return p, nil
	}
	pads, err := d.pads(ctx, p.Pads)
	if err != nil {
		return nil, err
	}
	p.Fire = page.Form{ID: "check", Action: page.PostConfirm, Key: uuid.NewString(), Fields: page.CheckFields(in), Submit: "Confirmed: wait for its file",
		Values: map[string]string{}, Hidden: map[string]string{"kind": lab.ShotSystemCheck, "from": "check"}, Choices: map[string][]page.Choice{page.PadField: pads}}
	if err := d.lastCheck(ctx, p.Fire.Values, in); err != nil {
		return nil, err
	}
	if len(pads) == 1 && p.Fire.Values[page.PadField] == "" {
		p.Fire.Values[page.PadField] = pads[0].Value
	}
	if t != nil {
		t.into(&p.Fire)
	}
	var speed *float64
	if v, err := page.ParseDecimal(p.Fire.Values["target_speed_m_s"]); err == nil {
		speed = &v
	}
	p.Ahead, err = d.checks(time.Now()).Ahead(ctx, p.Fire.Values[page.PadField], speed)
	return p, err
}

// pads adds the reference pads of the register to those that were hit.
func (d *Desk) pads(ctx context.Context, hit []page.Choice) ([]page.Choice, error) {
	out := append([]page.Choice(nil), hit...)
	known := map[string]bool{}
	for _, p := range hit {
		known[lab.Fold(p.Value)] = true
	}
	err := inventory.EveryItem(ctx, d.read, d.scope(), lab.ClassReferencePad, func(r *view.ItemRow) error {
		if i := &r.Item; !known[lab.Fold(i.Serial)] {
			known[lab.Fold(i.Serial)] = true
			out = append(out, page.Choice{Value: i.Serial, Text: i.Title()})
		}
		return nil
	})
	return out, err
}

// lastCheck proposes what the check before was fired with: a check is the same
// every day.
func (d *Desk) lastCheck(ctx context.Context, values map[string]string, in string) error {
	rows, err := d.read.Checks(ctx, d.scope(), d.Intake.Rig(), 1)
	if err != nil || len(rows) == 0 {
		return err
	}
	s := &rows[0].Shot
	values[page.PadField] = s.ReferencePad
	if v := s.TargetSpeedMS; v != nil {
		values["target_speed_m_s"] = page.Show(*v, "m/s").Text
	}
	above := ""
	if v := s.TankPressureKPaGauge; v != nil {
		if above, err = d.aboveRated(ctx, *v, in); err != nil {
			return err
		}
	}
	if v := s.TankPressureKPaGauge; v != nil && above == "" {
		values["pressure"] = present.PressureText(*v, in)
	}
	return nil
}

// checkNotices says on the screens of a shot what the last check means for it.
func (d *Desk) checkNotices(ctx context.Context, failedOnly bool) ([]page.Notice, error) {
	t, err := d.checks(time.Now()).Today(ctx)
	if err != nil || t.State.Level != page.Bad && (failedOnly || t.State.Level != page.Warn) {
		return nil, err
	}
	return checkNotice(&t), nil
}

// checkVerdict is what a check that is shown came to. One that failed is told on
// every screen of a shot anyhow.
func (d *Desk) checkVerdict(ctx context.Context, r *view.ShotRow) ([]page.Notice, error) {
	if r.Shot.Kind != lab.ShotSystemCheck || r.Void() {
		return nil, nil
	}
	t, err := d.checks(time.Now()).Today(ctx)
	if err != nil || t.Shot != r.ID || t.State.Level == page.Bad {
		return nil, err
	}
	return checkNotice(&t), nil
}

func checkNotice(t *present.CheckToday) []page.Notice {
	return []page.Notice{{Level: t.State.Level, Text: "System check: " + t.State.Word + ".", Fix: t.Reason, Link: "System check", Href: page.PathCheck}}
}

package desk

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/inventory"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/speed"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// without takes out of the places of the rig what it is said not to have: those
// places miss nothing while nothing is mounted there.
func (d *Desk) without(ctx context.Context, rows []page.RigPosition, now time.Time) error {
	absent, err := d.read.AbsentAt(ctx, d.scope(), d.Intake.Rig(), lab.At(now))
	for i := range absent {
		for j := range rows {
			if p := &rows[j]; p.Item == "" && lab.Fold(p.Position) == lab.Fold(absent[i].Absent.Position) {
				p.Absent, p.AbsentID, p.AbsentBy = absent[i].Absent.Reason, absent[i].ID.String(), present.Who(absent[i].Author, d.personName)
			}
		}
	}
	return err
}

// rated puts the maximum allowed pressure on the screen of the rig.
func (d *Desk) rated(ctx context.Context, p *page.Rig) error {
	in := d.unit(ctx)
	p.Rated = httpkit.Blank(page.RatedFields(in), page.PostRated, "rated", "Record the pressure")
	row, err := d.read.RatedAt(ctx, d.scope(), d.Intake.Rig(), lab.At(time.Now()))
	if row == nil || err != nil {
		return err
	}
	p.Most, p.MarkedOn, p.MostSince = present.Pressure(row.Rated.PressureKPaGauge, in), row.Rated.MarkedOn, present.Moment(row.Rated.EffectiveAt, time.Local)
	p.MostBy = present.Who(row.Author, d.personName)
	p.NotRated = httpkit.Blank(page.MistakenFields(), page.PostNotRated, "notrated", "Withdraw the pressure")
	p.NotRated.Values = map[string]string{"id": row.ID.String()}
	return nil
}

// setRated records what the vessel or its relief valve is marked with.
func (d *Desk) setRated(c echo.Context) error {
	in := d.unit(c.Request().Context())
	return d.once.Post(c, whom, page.RatedFields(in), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		b := &lab.Rated{Rig: d.Intake.Rig(), MarkedOn: f.Values["marked_on"], EffectiveAt: past(f, "effective_at")}
		if text := f.Values["most"]; text != "" {
			kpa, err := present.KPa(text, in)
			if err != nil {
				f.Fault("most", "%s", err.Error())
			}
			b.PressureKPaGauge = kpa
		}
		if !f.OK() {
			return "", nil
		}
		_, err := d.Intake.State(ctx, inventory.Fact{Author: d.author(c), Body: b})
		return page.PathRig + "?done=rated", err
	}, d.rigAgain(page.PostRated), nil)
}

// setAbsent records that this rig does not have a position.
func (d *Desk) setAbsent(c echo.Context) error {
	return d.once.Post(c, whom, page.AbsentFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		if !f.OK() {
			return "", nil
		}
		b := &lab.Absent{Rig: d.Intake.Rig(), Position: f.Values["position"], Reason: f.Values["reason"], EffectiveAt: lab.At(time.Now())}
		rows, _, err := d.positions(ctx, time.Now())
		if err != nil {
			return "", err
		}
		for i := range rows {
			if rows[i].Item != "" && lab.Fold(rows[i].Position) == lab.Fold(b.Position) {
				return "", problem.New(problem.Conflict, "Something is mounted at "+b.Position+": "+rows[i].Item+".", "Take it off first, if the rig has no such position any more.")
			}
		}
		_, err = d.Intake.State(ctx, inventory.Fact{Author: d.author(c), Body: b})
		return page.PathRig + "?done=absent", err
	}, d.rigAgain(page.PostAbsent), nil)
}

// withdrawn takes back what was said about how the rig is fitted out.
func (d *Desk) withdrawn(kind record.Kind, path, done string) echo.HandlerFunc {
	return func(c echo.Context) error {
		return d.once.Post(c, whom, page.MistakenFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
			if !f.OK() {
				return "", nil
			}
			id, err := uuid.Parse(f.Values["id"])
			if err != nil {
				return "", problem.New(problem.NotFound, "There is no such entry.", "Reload the page.")
			}
			of, err := d.outfitLab(ctx, kind, id)
			if err != nil {
				return "", err
			}
			_, err = d.Intake.State(ctx, inventory.Fact{Lab: of, About: id, Author: d.author(c), Body: &lab.Withdrawn{Doc: id, DocKind: kind, Reason: f.Values["reason"]}})
			return page.PathRig + "?done=" + done, err
		}, d.rigAgain(path), nil)
	}
}

// outfitLab is the lab under whose id an entry about the rig stands now.
func (d *Desk) outfitLab(ctx context.Context, kind record.Kind, id uuid.UUID) (record.LabID, error) {
	now := lab.At(time.Now())
	if kind == lab.KindRated {
		row, err := d.read.RatedAt(ctx, d.scope(), d.Intake.Rig(), now)
		if err != nil || row != nil && row.ID == id {
			return headLab(row), err
		}
	} else {
		rows, err := d.read.AbsentAt(ctx, d.scope(), d.Intake.Rig(), now)
		if err != nil {
			return record.LabID{}, err
		}
		for i := range rows {
			if rows[i].ID == id {
				return rows[i].Lab, nil
			}
		}
	}
	return record.LabID{}, problem.New(problem.NotFound, "There is no such entry, or it was withdrawn already.", "Reload the page.")
}

func headLab(r *view.RatedRow) (of record.LabID) {
	if r != nil {
		of = r.Lab
	}
	return of
}

// ratedRow says on Ready whether the maximum allowed pressure is stated.
func (d *Desk) ratedRow(ctx context.Context, now time.Time) (page.ReadyRow, error) {
	out := page.ReadyRow{What: "maximum allowed tank pressure", State: page.Status{Word: "not stated"}, Reason: "Enter what the vessel and its relief valve are marked with, the lower of the two.", Href: page.PathRig + "#h-rated"}
	row, err := d.read.RatedAt(ctx, d.scope(), d.Intake.Rig(), lab.At(now))
	if row != nil {
		n := present.Pressure(row.Rated.PressureKPaGauge, d.unit(ctx)).Number
		out.State, out.Reason = page.Status{Level: page.OK, Word: n.Text + "\u00a0" + n.Unit + " gauge"}, "Marked on: "+row.Rated.MarkedOn+"."
	}
	return out, err
}

// aboveRated says in words that a pressure is above the maximum allowed; "" when
// it is not, or none is stated.
func (d *Desk) aboveRated(ctx context.Context, kpa float64, in string) (string, error) {
	row, err := d.read.RatedAt(ctx, d.scope(), d.Intake.Rig(), lab.At(time.Now()))
	if row == nil || err != nil || !(kpa > row.Rated.PressureKPaGauge) {
		return "", err
	}
	most := present.Pressure(row.Rated.PressureKPaGauge, in).Number
	got := present.Pressure(kpa, in).Number
	return fmt.Sprintf("%s %s is above the maximum allowed pressure of this rig, %s %s gauge (marked on: %s). Do not fire at it. Keep people clear, shut the supply and vent the tank to zero, then find out why: regulator, gauge, relief valve. Local rules and licensed practice go first. If it was mistyped, correct it.",
		got.Text, got.Unit, most.Text, most.Unit, row.Rated.MarkedOn), nil
}

// farAboveUsed is how many times the highest pressure observed on a ram a typed
// one is doubted: a factor of our own, for slips of a digit.
const farAboveUsed = 1.5

// farAbove says in words that a pressure is far above whatever was observed on
// the ram; "" when it is not, or nothing was observed.
func (d *Desk) farAbove(ctx context.Context, kpa float64, in string) (string, error) {
	h, err := speed.Read(ctx, d.read, d.scope(), d.Intake.Rig(), time.Now())
	if err != nil {
		return "", err
	}
	used := 0.0
	for _, p := range slices.Concat(h.Before, h.Since) {
		used = max(used, p.PressureKPa)
	}
	if used == 0 || kpa <= farAboveUsed*used {
		return "", nil
	}
	got, most := present.Pressure(kpa, in).Number, present.Pressure(used, in).Number
	return fmt.Sprintf("%s %s is far above what was observed on this ram since its last two services, at most %s %s. If it was mistyped, correct it. If the gauge does show it, keep people clear, and check what the rig may hold before it is fired: nothing here says that it is safe.",
		got.Text, got.Unit, most.Text, most.Unit), nil
}

package desk

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// rigFacts says how the rig is fitted out where an item sits: which positions it
// is declared not to have, and what its tank may hold. People who keep the lab
// enter the pressure on the items that hold it.
func (d *Desk) rigFacts(ctx context.Context, p *caller, u *view.Usage, own *ownedItem, rigs map[uuid.UUID]string, s *page.ItemUse) error {
	if u.Rig == uuid.Nil {
		return nil
	}
	now := lab.At(d.Now())
	names, err := d.authors(ctx, p.Scope)
	if err != nil {
		return err
	}
	in, err := d.Views.PressureUnit(ctx, own.in.Scope)
	if err != nil {
		return err
	}
	in = cmp.Or(in, "kPa")
	f := &page.RigFacts{Rig: rigName(rigs, u.Rig)}
	absent, err := d.Views.AbsentAt(ctx, own.in.Scope, u.Rig, now)
	if err != nil {
		return err
	}
	for i := range absent {
		a := &absent[i]
		f.Absent = append(f.Absent, page.AbsentPlace{Position: a.Absent.Position, Reason: a.Absent.Reason, Since: a.Absent.EffectiveAt.Time().In(d.zone), By: names(a.Author)})
	}
	most, err := d.Views.RatedAt(ctx, own.in.Scope, u.Rig, now)
	if err != nil {
		return err
	}
	if most != nil {
		f.Most, f.MarkedOn, f.Since, f.By = present.Pressure(most.Rated.PressureKPaGauge, in), most.Rated.MarkedOn, most.Rated.EffectiveAt.Time().In(d.zone), names(most.Author)
	}
	if slices.Contains([]string{lab.ClassRam, lab.ClassAirReceiver, lab.ClassReliefValve, lab.ClassHose}, s.Kind) && p.MayKeep(own.in.ID) {
		form := httpkit.Blank(ratedFields(in), page.PostItemRated, "rated", "Record the pressure")
		form.Values = map[string]string{"item": s.ID, "unit": in}
		f.Rated = &form
	}
	s.AtRig = f
	return nil
}

func ratedFields(unit string) []page.Field {
	return append(page.RatedFields(unit), page.Field{Name: "item", Kind: "hidden", Required: true}, page.Field{Name: "unit", Kind: "hidden"})
}

// postRated records what the tank may hold of the rig where an item sits.
func (d *Desk) postRated(c echo.Context) error {
	unit := cmp.Or(c.FormValue("unit"), "kPa")
	return d.post(c, ratedFields(unit), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		item, in, err := d.labOfItem(ctx, c, f)
		if err != nil {
			return "", err
		}
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		if item == uuid.Nil {
			return "", notFound("item")
		}
		u, err := d.Views.RamUsage(ctx, p.Scope, item, d.Now())
		if err != nil {
			return "", err
		}
		if of, err := uuid.Parse(in); err == nil && u.Rig == uuid.Nil && p.MayKeep(of) { // others are refused below
			f.Fault("most", "The item is not mounted at a rig any more. Enter the pressure on an item that is.")
		}
		b := &lab.Rated{Rig: u.Rig, MarkedOn: f.Values["marked_on"], EffectiveAt: lab.At(d.Now())}
		if f.Values["effective_at"] != "" {
			b.EffectiveAt = d.past(f, "effective_at")
		}
		if text := f.Values["most"]; text != "" {
			if b.PressureKPaGauge, err = present.KPa(text, unit); err != nil {
				f.Fault("most", "%s", err.Error())
			} else if b.PressureKPaGauge <= 0 || b.PressureKPaGauge > lab.MostPressureKPa {
				f.Fault("most", "Give the gauge pressure that is marked: above zero, at most 20 MPa.")
			}
		}
		_, err = d.write(ctx, c, f, in, b, "rated")
		return done(page.ItemUsePath(item.String()), "rated"), err
	}, d.itemUseAgain(page.PostItemRated))
}

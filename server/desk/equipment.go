package desk

import (
	"cmp"
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

func (d *Desk) equipment(c echo.Context) error {
	return d.equipmentPage(c, "", nil, http.StatusOK)
}

// equipmentPage shows the register; typed belongs to the form of that path.
func (d *Desk) equipmentPage(c echo.Context, posted string, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Equipment{Frame: d.frame(&p, "Equipment", page.PathEquipment), Lab: c.QueryParam("lab")}
	said(c, &s.Frame, map[string]string{
		"item": "The item is in the register.", "service": "The service was recorded. Strokes are counted from it.",
		"service-before": "The service was recorded. A later one is on record, and strokes go on being counted from that: if the date was mistyped, take this one back on the item’s page and enter it again.",
		"calibration":    "The calibration was recorded.", "mounting": "The mounting was recorded. Strokes are counted to match.",
		"moved": "The mounting was recorded. The item was mounted at another place until then: it counts as moved. If it was not, one of the two entries is wrong."})
	if err := d.added(c, &p, &s.Frame); err != nil {
		return err
	}
	if labs := p.names.All(); len(labs) > 1 {
		s.Labs = choices(labs)
	}
	sc := p.Scope
	if s.Lab != "" {
		in, err := d.place(ctx, &p, s.Lab)
		if err != nil {
			return err
		}
		sc = in.Scope
	}
	g := &inventory{d: d, p: &p, sc: sc, page: &s, homes: d.homes(p.names, sc)}
	if err := g.fill(ctx); err != nil {
		return err
	}
	if err := d.equipmentForms(ctx, &p, &s); err != nil {
		return err
	}
	d.zoned(&s.Service, &s.Mounting)
	if typed != nil {
		s.Notices = append(s.Notices, typed.Other...)
		for _, f := range []*page.Form{&s.Item, &s.Service, &s.Calibration, &s.Mounting} {
			if f.Action == posted {
				typed.Into(f)
			}
		}
	}
	return httpkit.Page(c, status, s)
}

// added leads from the word that an item is in the register to the item.
func (d *Desk) added(c echo.Context, p *caller, f *page.Frame) error {
	id, err := uuid.Parse(c.QueryParam("item"))
	if err != nil || c.QueryParam("done") != "item" || len(f.Notices) == 0 {
		return nil
	}
	i, err := d.Views.Item(c.Request().Context(), p.Scope, id)
	if missing(err) {
		return nil
	}
	f.Notices[0].Link, f.Notices[0].Href = i.Item.Title(), page.ItemUsePath(id.String())
	return err
}

// inventory fills the tables of the equipment screen.
type inventory struct {
	d     *Desk
	p     *caller
	sc    scope.Scope
	page  *page.Equipment
	rigs  map[uuid.UUID]string
	homes *homes
}

func (g *inventory) fill(ctx context.Context) error {
	var err error
	if g.rigs, err = g.d.rigNames(ctx, g.sc); err != nil {
		return err
	}
	return every(ctx, func(q view.Page) (view.List[view.ItemRow], error) { return g.d.Views.Items(ctx, g.sc, "", q) }, func(i *view.ItemRow) error {
		return g.add(ctx, i)
	})
}

func (g *inventory) add(ctx context.Context, i *view.ItemRow) error {
	name, err := g.p.names.Of(ctx, i.Lab)
	if err != nil {
		return err
	}
	also, err := g.homes.of(ctx, i.Lab)
	if err != nil {
		return err
	}
	u, err := g.d.Views.RamUsage(ctx, g.sc, i.ID, g.d.Now(), also...)
	if err != nil {
		return err
	}
	rig := ""
	if u.Rig != uuid.Nil {
		rig = cmp.Or(g.rigs[u.Rig], "rig "+u.Rig.String()[:8])
	}
	title := cmp.Or(i.Item.Name, i.Item.Class)
	held := page.Held{Is: inState(&u)}
	if rig == "" {
		held.Kept = u.Stated.Location()
	}
	switch {
	case i.Item.Class == lab.ClassRam:
		r := page.RamRow{Held: held, ID: i.ID.String(), Lab: name, Name: title, Serial: i.Item.Serial, Rig: rig,
			SinceService: u.StrokesSinceService, Interval: u.Interval, Total: u.TotalStrokes, State: present.Service(&u)}
		if u.LastService != nil {
			r.LastService = u.LastService.Service.EffectiveAt.Time().In(g.d.zone)
		}
		g.page.Rams = append(g.page.Rams, r)
	case lab.Calibrated(i.Item.Class) || i.Item.CalibrationRequired:
		return g.sensor(ctx, i, page.SensorRow{Held: held, ID: i.ID.String(), Lab: name, Name: title, Serial: i.Item.Serial, Kind: i.Item.Class,
			Rig: rig, Position: u.Position, Strokes: page.ShowCount(u.TotalStrokes)})
	default:
		r := page.ItemRow{Held: held, ID: i.ID.String(), Lab: name, Kind: i.Item.Class, Name: title, Serial: i.Item.Serial, Rig: rig, Strokes: page.ShowCount(u.TotalStrokes)}
		if u.Interval > 0 {
			r.State = present.Service(&u)
		}
		g.page.Others = append(g.page.Others, r)
	}
	return nil
}

func (g *inventory) sensor(ctx context.Context, i *view.ItemRow, r page.SensorRow) error {
	k, err := g.d.Views.CalibrationAt(ctx, g.sc, i.ID, lab.At(g.d.Now()))
	if err != nil {
		return err
	}
	r.State = present.Calibration(&k)
	if k.Calibration != nil {
		b := &k.Calibration.Calibration
		on, due := b.Days()
		r.Calibrated, r.Due, r.Certificate = on.In(g.d.zone), due.In(g.d.zone), b.Certificate
	}
	g.page.Sensors = append(g.page.Sensors, r)
	return nil
}

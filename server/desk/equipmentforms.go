package desk

import (
	"context"
	"net/url"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// equipmentForms offers the forms to people who may change a lab, with the
// items and rigs of those labs.
func (d *Desk) equipmentForms(ctx context.Context, p *caller, s *page.Equipment) error {
	labs := p.keeps()
	if s.MayEdit = len(labs) > 0; !s.MayEdit {
		return nil
	}
	s.Item = httpkit.Blank(page.ItemFields(), page.PostItem, "item", "Add")
	s.Service = httpkit.Blank(page.ServiceFields(), page.PostService, "service", "Record the service")
	s.Calibration = httpkit.Blank(page.CalibrationFields(), page.PostCalibration, "calibration", "Record the calibration")
	s.Mounting = httpkit.Blank(page.MountingFields(), page.PostMounting, "mounting", "Record the mounting")
	var items, rigs []page.Choice
	err := d.eachKept(ctx, p, labs, func(in roster.Place, suffix string) error {
		some, err := d.itemChoices(ctx, in, suffix)
		if err != nil {
			return err
		}
		items = append(items, some...)
		some, err = d.rigChoices(ctx, in, suffix)
		rigs = append(rigs, some...)
		return err
	})
	if err != nil {
		return err
	}
	s.Item.Choices = map[string][]page.Choice{"lab": choices(labs)}
	s.Item.Values = map[string]string{"lab": s.Lab}
	s.Service.Choices = map[string][]page.Choice{"item": items}
	s.Calibration.Choices = map[string][]page.Choice{"item": items}
	s.Mounting.Choices = map[string][]page.Choice{"item": append([]page.Choice{{Value: "", Text: "nothing"}}, items...), "rig": rigs}
	return nil
}

// eachKept goes through the labs that a person keeps; suffix tells them apart in
// a list, where there are several.
func (d *Desk) eachKept(ctx context.Context, p *caller, labs []roster.Lab, do func(in roster.Place, suffix string) error) error {
	for i := range labs {
		in, err := d.Roster.Find(ctx, p.Scope, labs[i].ID.String())
		if err != nil {
			return err
		}
		suffix := ""
		if len(labs) > 1 {
			suffix = " (" + labs[i].Title() + ")"
		}
		if err := do(in, suffix); err != nil {
			return err
		}
	}
	return nil
}

func (d *Desk) itemChoices(ctx context.Context, in roster.Place, suffix string) ([]page.Choice, error) {
	var out []page.Choice
	err := every(ctx, func(q view.Page) (view.List[view.ItemRow], error) { return d.Views.Items(ctx, in.Scope, "", q) }, func(i *view.ItemRow) error {
		out = append(out, page.Choice{Value: i.ID.String(), Text: itemName(&i.Item) + suffix})
		return nil
	})
	return out, err
}

func (d *Desk) rigChoices(ctx context.Context, in roster.Place, suffix string) ([]page.Choice, error) {
	rows, err := d.rigRows(ctx, in.Scope)
	var out []page.Choice
	for _, r := range rows {
		out = append(out, page.Choice{Value: r.ID.String(), Text: r.Rig.Name + suffix})
	}
	return out, err
}

// postItem adds an item to the register.
func (d *Desk) postItem(c echo.Context) error {
	return d.post(c, page.ItemFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		b := &lab.Item{Class: f.Values["class"], Serial: f.Values["serial"], Name: f.Values["name"], Maker: f.Values["maker"], AssetNumber: f.Values["asset_number"], Model: f.Values["model"],
			ServiceEveryStrokes: f.Count("service_every_strokes"), ServiceEveryDays: f.Count("service_every_days"), OpeningStrokes: f.Count("opening_strokes"), CalibrationRequired: present.NeedsCalibration(f.Values)}
		if !f.OK() {
			return "", nil
		}
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		at, err := d.place(ctx, &p, f.Values["lab"])
		if err != nil {
			return "", err
		}
		id, err := d.Register.RecordConfirmed(ctx, p.Principal, at, b, f.Values["confirmed"] != "")
		return done(page.PathEquipment, "item") + "&" + url.Values{"item": {id.String()}}.Encode(), err
	}, d.equipmentAgain(page.PostItem))
}

// write records a fact of the lab that the form names.
func (d *Desk) write(ctx context.Context, c echo.Context, f *httpkit.Filled, in string, b lab.Body, what string) (string, error) {
	if !f.OK() {
		return "", nil
	}
	p, err := d.caller(c)
	if err != nil {
		return "", err
	}
	at, err := d.place(ctx, &p, in)
	if err != nil {
		return "", err
	}
	_, err = d.Register.RecordConfirmed(ctx, p.Principal, at, b, f.Values["confirmed"] != "")
	return done(page.PathEquipment, what), err
}

func (d *Desk) equipmentAgain(path string) func(echo.Context, *httpkit.Filled, int) error {
	return func(c echo.Context, f *httpkit.Filled, status int) error { return d.equipmentPage(c, path, f, status) }
}

// labOfItem gives the lab of the item that a form names, as text; a fault of
// the field when there is none in the scope.
func (d *Desk) labOfItem(ctx context.Context, c echo.Context, f *httpkit.Filled) (uuid.UUID, string, error) {
	id, err := uuid.Parse(f.Values["item"])
	if err != nil {
		f.Fault("item", "There is no such item. Choose one from the list.")
		return uuid.Nil, "", nil
	}
	p, err := d.caller(c)
	if err != nil {
		return uuid.Nil, "", err
	}
	i, err := d.Views.Item(ctx, p.Scope, id)
	if missing(err) {
		f.Fault("item", "There is no such item. Choose one from the list.")
		return uuid.Nil, "", nil
	}
	if err != nil {
		return uuid.Nil, "", err
	}
	text, err := d.realLab(ctx, &p, i.Lab)
	return id, text, err
}

func (d *Desk) postService(c echo.Context) error {
	return d.post(c, page.ServiceFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		item, in, err := d.labOfItem(ctx, c, f)
		if err != nil {
			return "", err
		}
		b := &lab.Service{Item: item, EffectiveAt: d.past(f, "effective_at"), Note: f.Values["note"]}
		if f.Values["counter_strokes"] != "" {
			b.CounterStrokes = new(f.Count("counter_strokes"))
		}
		what := "service"
		if f.OK() {
			p, err := d.caller(c)
			if err != nil {
				return "", err
			}
			if what, err = d.serviceWord(ctx, p.Scope, b, what); err != nil {
				return "", err
			}
		}
		return d.write(ctx, c, f, in, b, what)
	}, d.equipmentAgain(page.PostService))
}

// serviceWord tells what a service will be said to have done: where a later one
// is on record, strokes go on being counted from that.
func (d *Desk) serviceWord(ctx context.Context, sc scope.Scope, b *lab.Service, what string) (string, error) {
	all, err := d.Views.Services(ctx, sc, b.Item)
	if err != nil {
		return "", err
	}
	for i := range all {
		if all[i].Withdrawn == nil && all[i].Service.EffectiveAt > b.EffectiveAt {
			return what + "-before", nil
		}
	}
	return what, nil
}

func (d *Desk) postCalibration(c echo.Context) error {
	return d.post(c, page.CalibrationFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		item, in, err := d.labOfItem(ctx, c, f)
		if err != nil {
			return "", err
		}
		b := present.Certificate(f, d.Now().In(d.zone))
		b.Item = item
		return d.write(ctx, c, f, in, b, "calibration")
	}, d.equipmentAgain(page.PostCalibration))
}

func (d *Desk) postMounting(c echo.Context) error {
	return d.post(c, page.MountingFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		rig, in, err := d.labOfRig(ctx, c, f)
		if err != nil {
			return "", err
		}
		b := &lab.Mounting{Rig: rig, Position: f.Values["position"], EffectiveAt: d.past(f, "effective_at"), Also: f.Values["also"] != ""}
		if text := f.Values["item"]; text != "" {
			if b.Item, err = uuid.Parse(text); err != nil {
				f.Fault("item", "There is no such item. Choose one from the list.")
			}
		}
		what := "mounting"
		if !b.Also && d.elsewhere(ctx, c, b) {
			what = "moved"
		}
		return d.write(ctx, c, f, in, b, what)
	}, d.equipmentAgain(page.PostMounting))
}

func (d *Desk) labOfRig(ctx context.Context, c echo.Context, f *httpkit.Filled) (uuid.UUID, string, error) {
	const none = "There is no such rig. A rig is listed once its agent has reached this server."
	id, err := uuid.Parse(f.Values["rig"])
	if err != nil {
		f.Fault("rig", none)
		return uuid.Nil, "", nil
	}
	p, err := d.caller(c)
	if err != nil {
		return uuid.Nil, "", err
	}
	r, err := d.Views.Rig(ctx, p.Scope, id)
	if missing(err) {
		f.Fault("rig", none)
		return uuid.Nil, "", nil
	}
	if err != nil {
		return uuid.Nil, "", err
	}
	text, err := d.realLab(ctx, &p, r.Lab)
	return id, text, err
}

package desk

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/metrics/chanmap"
	"thudbook/sync/inventory"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

const (
	changesShown = 40
	whom         = "rig" // forms at the rig are carried out once whoever sends them
)

// rig shows what is installed where.
func (d *Desk) rig(c echo.Context) error { return d.rigPage(c, "", nil, http.StatusOK) }

// rigPage makes the screen; a form that was not accepted is shown again as the
// one that posts to path.
func (d *Desk) rigPage(c echo.Context, path string, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p := page.Rig{Frame: d.frame(c, "Rig", page.PathRig)}
	if text := map[string]string{"mounted": "The mounting is recorded.", "off": "It is recorded that it was taken off.", "withdrawn": "The entry is withdrawn.", "calibration": "The certificate is recorded.",
		"absent": "It is recorded that the rig has no such position.", "present": "It is missed again.", "rated": "The maximum allowed pressure is recorded.", "notrated": "The maximum allowed pressure is withdrawn: none holds, or an earlier one."}[c.QueryParam("done")]; text != "" {
		p.Notices = append([]page.Notice{{Level: page.OK, Text: text}}, p.Notices...)
	}
	var err error
	if p.Rows, p.Map, err = d.positions(ctx, time.Now()); err != nil {
		return err
	}
	for i := range p.Rows {
		p.Rows[i].Key = httpkit.NewKey()
	}
	if p.Changes, p.More, err = d.rigChanges(ctx); err != nil {
		return err
	}
	if err := d.rigForms(ctx, c, &p); err != nil {
		return err
	}
	if err := d.rated(ctx, &p); err != nil {
		return err
	}
	if typed != nil {
		p.Notices = append(p.Notices, typed.Other...)
		for _, f := range []*page.Form{&p.Mount, &p.Calibration, &p.Rated} {
			if f.Action == path {
				typed.Into(f)
			}
		}
		switch path {
		case page.PostUnmount, page.PostMistaken, page.PostAbsent, page.PostPresent, page.PostNotRated:
			for _, text := range typed.Errors {
				p.Notices = append([]page.Notice{{Level: page.Bad, Text: "Not saved: " + text}}, p.Notices...)
			}
		}
	}
	return httpkit.Page(c, status, p)
}

// positions gives the places of this rig with what sits there now, and the
// name of the map that names the channels.
func (d *Desk) positions(ctx context.Context, now time.Time) ([]page.RigPosition, string, error) {
	mounted, err := d.read.Mounted(ctx, d.scope(), d.Intake.Rig(), lab.At(now))
	if err != nil {
		return nil, "", err
	}
	var channels *chanmap.Map
	name := ""
	if m, err := d.Intake.MapForPosts(); err == nil && m != nil { // a broken map is told of on the overview
		channels, name = m.Map, m.Name
	}
	rows := present.Positions(channels, mounted, time.Local)
	also, err := d.labs(ctx)
	if err != nil {
		return nil, "", err
	}
	look := &upkeep.Watch{Read: d.read, Scope: d.scope(), Now: now}
	for i := range mounted {
		if mounted[i].Item == nil {
			continue
		}
		l, err := present.Look(ctx, look, mounted[i].Item, also...)
		if err != nil {
			return nil, "", err
		}
		for j := range rows {
			if lab.Fold(rows[j].Position) == lab.Fold(mounted[i].Mounting.Mounting.Position) {
				for _, n := range l.Needs {
					rows[j].States = append(rows[j].States, n.State)
				}
				if k := l.Calibration.State; k == view.InCalibration {
					rows[j].States = append(rows[j].States, present.Calibration(&l.Calibration))
				}
				if s, ok := l.Uncertified(mounted[i].Item.Item.Class); ok {
					rows[j].States = append(rows[j].States, s)
				}
			}
		}
	}
	return rows, name, d.without(ctx, rows, now)
}

func (d *Desk) rigChanges(ctx context.Context) (out []page.RigChange, more bool, err error) {
	all, err := d.read.RigMountings(ctx, d.scope(), d.Intake.Rig(), changesShown+1)
	if err != nil {
		return nil, false, err
	}
	for i := range all[:min(len(all), changesShown)] {
		m := &all[i].Mounting
		r := page.RigChange{ID: m.ID.String(), At: m.Mounting.EffectiveAt.Time().Local(), Position: m.Mounting.Position, Also: m.Mounting.Also, By: present.Who(m.Author, d.personName), Key: httpkit.NewKey()}
		if m.Mounting.Item != uuid.Nil {
			if r.Item = "not in the register"; all[i].Item != nil {
				r.Item = all[i].Item.Item.Title()
			}
		}
		out = append(out, r)
	}
	return out, len(all) > changesShown, nil
}

// rigForms offers the forms; items that fit the position stand first.
func (d *Desk) rigForms(ctx context.Context, c echo.Context, p *page.Rig) error {
	p.Mount = httpkit.Blank(page.MountFields(), page.PostMount, "mount", "Record the mounting")
	p.Calibration = httpkit.Blank(page.CalibrationFields(), page.PostRigCert, "cert", "Record the calibration")
	position := strings.TrimSpace(c.QueryParam("position"))
	p.Mount.Values = map[string]string{"position": position}
	kind := ""
	var places []page.Choice
	for _, r := range p.Rows {
		places = append(places, page.Choice{Value: r.Position, Text: r.Kind})
		if lab.Fold(r.Position) == lab.Fold(position) {
			kind = r.Kind
		}
	}
	p.Mount.Values["class"] = kind
	fits := []page.Choice{{Value: "", Text: "choose"}, {Value: page.NewItem, Text: "a new item, entered below"}}
	var rest, all []page.Choice
	err := inventory.EveryItem(ctx, d.read, d.scope(), "", func(i *view.ItemRow) error {
		choice := page.Choice{Value: i.ID.String(), Text: i.Item.Title()}
		if i.Item.Name != "" {
			choice.Text += " (" + i.Item.Class + ")"
		}
		if all = append(all, choice); kind != "" && lab.Fold(i.Item.Class) != lab.Fold(kind) {
			rest = append(rest, choice)
			return nil
		}
		fits = append(fits, choice)
		return nil
	})
	p.Mount.Choices = map[string][]page.Choice{"position": places, "item": append(fits, rest...)}
	p.Calibration.Choices = map[string][]page.Choice{"item": all}
	return err
}

func (d *Desk) rigAgain(path string) func(echo.Context, *httpkit.Filled, int) error {
	return func(c echo.Context, f *httpkit.Filled, status int) error { return d.rigPage(c, path, f, status) }
}

// past reads when something was done; empty is now.
func past(f *httpkit.Filled, field string) lab.Time {
	now := time.Now()
	if t := f.Past(field, now); !t.IsZero() {
		return lab.At(t)
	}
	return lab.At(now)
}

// mount records where an item was put; one that the register lacks is
// registered first.
func (d *Desk) mount(c echo.Context) error {
	return d.once.Post(c, whom, page.MountFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		b := &lab.Mounting{Rig: d.Intake.Rig(), Position: f.Values["position"], EffectiveAt: past(f, "effective_at"), Also: f.Values["also"] != ""}
		confirmed := inventory.Confirm(f.Values["confirmed"] != "")
		if f.Values["item"] == page.NewItem {
			for _, field := range []string{"class", "serial"} {
				if f.Values[field] == "" {
					f.Fault(field, "This is needed for a new item.")
				}
			}
		} else if f.Values["item"] != "" {
			var err error
			if b.Item, err = uuid.Parse(f.Values["item"]); err != nil {
				f.Fault("item", "There is no such item. Choose one from the list.")
			}
		}
		if !f.OK() {
			return "", nil
		}
		if f.Values["item"] == page.NewItem {
			item := &lab.Item{Class: f.Values["class"], Serial: f.Values["serial"], CalibrationRequired: present.NeedsCalibration(f.Values)}
			var err error
			if b.Item, err = d.Intake.State(ctx, inventory.Fact{Author: d.author(c), Body: item, Confirmed: confirmed}); err != nil {
				return "", err
			}
			f.Values["item"], f.Values["serial"] = b.Item.String(), "" // it is in the register now, whatever comes of the mounting
		}
		_, err := d.Intake.State(ctx, inventory.Fact{Author: d.author(c), Body: b, Confirmed: confirmed, AskMoves: true})
		return page.PathRig + "?done=mounted", err
	}, d.rigAgain(page.PostMount), nil)
}

// unmount records that a position is empty.
func (d *Desk) unmount(c echo.Context) error {
	return d.once.Post(c, whom, page.UnmountFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		b := &lab.Mounting{Rig: d.Intake.Rig(), Position: f.Values["position"], EffectiveAt: past(f, "effective_at")}
		if !f.OK() {
			return "", nil
		}
		positions, err := d.offPositions(ctx, b, f.Values[page.EverywhereField] != "")
		if err != nil {
			return "", err
		}
		facts := make([]inventory.Fact, 0, len(positions))
		for _, position := range positions {
			off := *b
			off.Position = position
			facts = append(facts, inventory.Fact{Author: d.author(c), Body: &off})
		}
		_, err = d.Intake.State(ctx, facts...)
		return page.PathRig + "?done=off", err
	}, d.rigAgain(page.PostUnmount), nil)
}

// offPositions lists the positions that a mounting of nothing empties: its own, and
// everywhere the others at which the same item sits then.
func (d *Desk) offPositions(ctx context.Context, b *lab.Mounting, everywhere bool) ([]string, error) {
	out := []string{b.Position}
	if !everywhere {
		return out, nil
	}
	mounted, err := d.read.Mounted(ctx, d.scope(), b.Rig, b.EffectiveAt)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(mounted, func(m view.MountedRow) bool { return lab.Fold(m.Mounting.Mounting.Position) == lab.Fold(b.Position) })
	if i < 0 {
		return out, nil
	}
	return append(out, present.OtherPositions(mounted, &mounted[i])...), nil
}

// mistaken withdraws a mounting that never happened.
func (d *Desk) mistaken(c echo.Context) error {
	return d.once.Post(c, whom, page.MistakenFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		if !f.OK() {
			return "", nil
		}
		id, err := uuid.Parse(f.Values["id"])
		if err != nil {
			return "", problem.New(problem.NotFound, "There is no such entry.", "Reload the page.")
		}
		m, err := d.read.Mounting(ctx, d.scope(), id)
		if err != nil {
			return "", err
		}
		_, err = d.Intake.State(ctx, inventory.Fact{Lab: m.Lab, About: id, Author: d.author(c), Body: &lab.Withdrawn{Doc: id, DocKind: lab.KindMounting, Reason: f.Values["reason"]}})
		return page.PathRig + "?done=withdrawn", err
	}, d.rigAgain(page.PostMistaken), nil)
}

// certificate records a calibration at the rig.
func (d *Desk) certificate(c echo.Context) error {
	return d.once.Post(c, whom, page.CalibrationFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		b := present.Certificate(f, time.Now())
		var err error
		if b.Item, err = uuid.Parse(f.Values["item"]); err != nil {
			f.Fault("item", "There is no such item. Choose one from the list.")
		}
		if !f.OK() {
			return "", nil
		}
		_, err = d.Intake.State(ctx, inventory.Fact{Author: d.author(c), Body: b, Confirmed: f.Values["confirmed"] != ""})
		return page.PathRig + "?done=calibration", err
	}, d.rigAgain(page.PostRigCert), nil)
}

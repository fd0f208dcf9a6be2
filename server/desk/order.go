package desk

import (
	"cmp"
	"context"
	"net/http"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// ordered is a work order with its item.
type ordered struct {
	ownedItem
	row view.WorkOrderRow
}

func (d *Desk) ordered(c echo.Context, p *caller) (o ordered, err error) {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return o, notFound("work order")
	}
	ctx := c.Request().Context()
	if o.row, err = d.Views.WorkOrder(ctx, p.Scope, id); err != nil {
		return o, err
	}
	o.ownedItem, err = d.ownedItem(ctx, p, o.row.Order.Item)
	return o, err
}

func (d *Desk) order(c echo.Context) error { return d.orderPage(c, "", nil, http.StatusOK) }

func (d *Desk) orderPage(c echo.Context, posted string, typed *httpkit.Filled, status int) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	o, err := d.ordered(c, &p)
	if err != nil {
		return err
	}
	s, err := d.orderScreen(c.Request().Context(), &p, &o)
	if err != nil {
		return err
	}
	said(c, &s.Frame, map[string]string{"opened": "The work order is open.", "change": "The work order was changed.", "close": "The work is done and the service recorded. Strokes and days are counted from it.", "close-before": "The work is done and the service recorded. A later service is on record, and strokes and days go on being counted from that: if the date was mistyped, take the closing back and close it again.",
		"cancel": "The work order was cancelled.", "reopen": "The work order is open again.", "once": "The order is closed once. Strokes and days are counted from the service that stays.", "undo": "The service was withdrawn and the work order is open again. Strokes and days are counted as before it."})
	if p.MayKeep(o.in.ID) {
		d.orderForms(s, &o)
	}
	if typed != nil {
		placed := false
		for _, f := range []*page.Form{s.Change, s.Close, s.Cancel, s.Reopen, s.Undo, s.Once} {
			if f != nil && f.Action == posted {
				typed.Into(f)
				placed = true
			}
		}
		for field, text := range typed.Errors {
			if !placed { // somebody else was faster, and the form is not offered any more
				s.Notices = append(s.Notices, page.Notice{Level: page.Bad, Text: "Not saved, " + labelOf(typed.Fields, field) + ": " + text})
			}
		}
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, *s)
}

// orderScreen shows an order as it stands.
func (d *Desk) orderScreen(ctx context.Context, p *caller, o *ordered) (*page.Order, error) {
	i, b := &o.item.Item, &o.row.Order
	id := o.row.ID.String()
	s := &page.Order{Frame: d.frame(p, "Work order "+strings.ToUpper(id[len(id)-6:]), page.PathEquipment), ID: id, Number: strings.ToUpper(id[len(id)-6:]), Lab: o.title, Item: i.Title(), Kind: i.Class,
		ItemHref: page.ItemUsePath(o.item.ID.String()), Serial: i.Serial, Asset: i.AssetNumber, State: present.OrderWord(&o.row, d.zone), Opened: b.EffectiveAt.Time().In(d.zone),
		Cause: present.CauseOfOrder(b.Cause), Reason: b.Reason, What: b.What, Parts: present.Parts(b.Parts), AssignedTo: b.AssignedTo, Planned: present.Minutes(b.PlannedMinutes)}
	if b.Shot != nil {
		s.Evidence = page.ShotPath(b.Shot.String())
	}
	who, err := d.authors(ctx, p.Scope)
	if err != nil {
		return nil, err
	}
	s.OpenedBy = who(o.row.Author)
	w := &upkeep.Watch{Read: d.Views, Scope: o.in.Scope, Now: d.Now().In(d.zone)}
	u, err := w.Of(ctx, o.item.ID, o.in.IDs...)
	if err != nil {
		return nil, err
	}
	rigs, err := d.rigNames(ctx, p.Scope)
	if err != nil {
		return nil, err
	}
	s.Where, s.Strokes, s.Due = whereIs(&u.Usage, rigs), page.ShowCount(u.StrokesSinceService), present.ServiceDue(&u.ServiceDue, d.zone)
	if o.row.Service != nil {
		s.Done = present.Done(o.row.Service, who, d.zone)
	}
	for j := range o.row.Further {
		s.Further = append(s.Further, *present.Done(&o.row.Further[j], who, d.zone))
	}
	if o.row.Since != nil {
		s.Since = present.Done(o.row.Since, who, d.zone)
	}
	if m := o.row.Withdrawn; m != nil && o.row.State == view.OrderCancelled {
		s.CancelledFor, s.CancelledBy = m.Reason, who(m.Author)
	}
	if all := o.row.Conflicts(); len(all) > 0 {
		for i := range all {
			all[i] = labelOf(page.OrderFields(), all[i])
		}
		s.Unsettled = strings.Join(all, ", ")
	}
	return s, nil
}

// orderForms offers what can be done about the order now.
func (d *Desk) orderForms(s *page.Order, o *ordered) {
	path, b := page.OrderPath(s.ID), &o.row.Order
	form := func(fields []page.Field, what, text string) *page.Form {
		f := httpkit.Blank(fields, path+"/"+what, what, text)
		f.Values = map[string]string{}
		return &f
	}
	switch o.row.State {
	case view.OrderOpen:
		s.Close = form(page.CloseFields(), "close", "The work is done: record the service")
		s.Close.Values = map[string]string{"note": b.What, "used": present.PartsText(b.Parts), "done_by": b.AssignedTo, "effective_at": d.Now().In(d.zone).Format("2006-01-02T15:04:05")}
		s.Change = form(page.OrderFields(), "change", "Change the order")
		s.Change.Values = map[string]string{"what": b.What, "parts": present.PartsText(b.Parts), "assigned_to": b.AssignedTo}
		if b.PlannedMinutes != nil {
			s.Change.Values["planned_minutes"] = page.ShowWhole(*b.PlannedMinutes, "min").Text
		}
		s.Cancel = form(page.ReasonFields(), "cancel", "Cancel the order")
	case view.OrderCancelled:
		s.Reopen = form(page.ReasonFields(), "reopen", "Open it again")
	case view.OrderDone:
		s.Undo = form(page.ReasonFields(), "undo", "Withdraw the service")
		if o.row.ClosedTwice() {
			s.Once = form(page.ReasonFields(), "once", "Withdraw all but the first")
			s.Once.Values["reason"] = "the same work was recorded at two places"
		}
	}
}

// aboutOrder runs a form on the screen of a work order, for those who keep its lab.
func (d *Desk) aboutOrder(c echo.Context, what string, fields []page.Field, do func(context.Context, *caller, *ordered, *httpkit.Filled) error) error {
	return d.post(c, fields, func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		o, err := d.ordered(c, &p)
		if err != nil {
			return "", err
		}
		if err := register.MayKeep(p.Principal, o.in.ID); err != nil {
			return "", err
		}
		word, err := what, do(ctx, &p, &o, f)
		if err == nil && what == "close" && f.OK() {
			word, err = d.serviceWord(ctx, o.in.Scope, &lab.Service{Item: o.item.ID, EffectiveAt: d.past(f, "effective_at")}, what)
		}
		return done(page.OrderPath(o.row.ID.String()), word), err
	}, func(c echo.Context, f *httpkit.Filled, status int) error {
		return d.orderPage(c, page.OrderPath(c.Param("id"))+"/"+what, f, status)
	})
}

func (d *Desk) orderChange(c echo.Context) error {
	return d.aboutOrder(c, "change", page.OrderFields(), func(ctx context.Context, p *caller, o *ordered, f *httpkit.Filled) error {
		next := register.OrderChange{What: f.Values["what"], Parts: present.ReadParts(f, "parts"), AssignedTo: f.Values["assigned_to"], PlannedMinutes: d.duration(f, "planned_minutes")}
		if !f.OK() {
			return nil
		}
		return d.Register.ChangeOrder(ctx, p.Principal, o.in, o.row.ID, next)
	})
}

// orderClose records the service that carries the order out: one record, which
// sets the counters and makes the order done.
func (d *Desk) orderClose(c echo.Context) error {
	return d.aboutOrder(c, "close", page.CloseFields(), func(ctx context.Context, p *caller, o *ordered, f *httpkit.Filled) error {
		b := &lab.Service{Item: o.item.ID, WorkOrder: &o.row.ID, EffectiveAt: d.past(f, "effective_at"), Note: f.Values["note"], Used: present.ReadParts(f, "used"),
			DurationMinutes: d.duration(f, "duration_minutes"), DoneBy: f.Values["done_by"]}
		if f.Values["counter_strokes"] != "" {
			b.CounterStrokes = new(f.Count("counter_strokes"))
		}
		if !f.OK() {
			return nil
		}
		_, err := d.Register.Record(ctx, p.Principal, o.in, b)
		return err
	})
}

func (d *Desk) orderCancel(c echo.Context) error {
	return d.aboutOrder(c, "cancel", page.ReasonFields(), func(ctx context.Context, p *caller, o *ordered, f *httpkit.Filled) error {
		if !f.OK() {
			return nil
		}
		return d.Register.CancelOrder(ctx, p.Principal, o.in, o.row.ID, f.Values["reason"], false)
	})
}

func (d *Desk) orderReopen(c echo.Context) error {
	return d.aboutOrder(c, "reopen", page.ReasonFields(), func(ctx context.Context, p *caller, o *ordered, f *httpkit.Filled) error {
		if !f.OK() {
			return nil
		}
		return d.Register.CancelOrder(ctx, p.Principal, o.in, o.row.ID, f.Values["reason"], true)
	})
}

// orderUndo withdraws the services that name the order, so that it is open again.
func (d *Desk) orderUndo(c echo.Context) error {
	return d.aboutOrder(c, "undo", page.ReasonFields(), func(ctx context.Context, p *caller, o *ordered, f *httpkit.Filled) error {
		if !f.OK() {
			return nil
		}
		if o.row.Service == nil {
			return problem.New(problem.Conflict, "The work order is not done.", "Look at the order as it is now.")
		}
		return d.withdrawServices(ctx, p, o, append([]view.ServiceRow{*o.row.Service}, o.row.Further...), f.Values["reason"])
	})
}

// orderOnce withdraws the further services of an order that two sites closed.
func (d *Desk) orderOnce(c echo.Context) error {
	return d.aboutOrder(c, "once", page.ReasonFields(), func(ctx context.Context, p *caller, o *ordered, f *httpkit.Filled) error {
		if !f.OK() {
			return nil
		}
		if !o.row.ClosedTwice() {
			return problem.New(problem.Conflict, "The work order is not closed twice.", "Look at the order as it is now.")
		}
		return d.withdrawServices(ctx, p, o, o.row.Further, f.Values["reason"])
	})
}

func (d *Desk) withdrawServices(ctx context.Context, p *caller, o *ordered, all []view.ServiceRow, reason string) error {
	for i := range all {
		if err := d.Register.Withdraw(ctx, p.Principal, o.in.ID, all[i].Lab, all[i].ID, lab.KindService, reason); err != nil {
			return err
		}
	}
	return nil
}

// orderSheet is the order for printing, to be taken to the rig.
func (d *Desk) orderSheet(c echo.Context) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	o, err := d.ordered(c, &p)
	if err != nil {
		return err
	}
	s, err := d.orderScreen(c.Request().Context(), &p, &o)
	if err != nil {
		return err
	}
	s.Title = "Sheet for work order " + s.Number
	return d.show(c, page.OrderSheet{Order: *s, Steps: page.WorkSteps()})
}

// labelOf gives a field's name as its form has it, in the middle of a sentence.
func labelOf(fields []page.Field, name string) string {
	for _, f := range fields {
		if f.Name != name {
			continue
		}
		label := strings.ToLower(f.Label[:1]) + f.Label[1:]
		if f.Unit != "" {
			label += " in " + f.Unit
		}
		return label
	}
	return httpkit.PlaceWords(name)
}

// whyNow names the cause that a need of an item stands for.
func whyNow(code string) string {
	return cmp.Or(map[string]string{"service_overdue": lab.OrderByPlan, "service_due": lab.OrderByPlan, "service_after_" + upkeep.FailedCheck: lab.OrderFailedCheck, "service_after_" + upkeep.SpeedDrift: lab.OrderSpeedDrift}[code], lab.OrderByHand)
}

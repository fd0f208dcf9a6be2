package desk

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// orderRoutes adds the screens of work orders.
func (d *Desk) orderRoutes(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET(page.PathOrders, d.orders, in)
	e.POST(page.PostWorkOrder, d.postOrder, in)
	e.GET(page.PathNewOrder, d.newOrder, in)
	e.GET(page.PathOrders+"/:id", d.order, in)
	e.GET(page.PathOrders+"/:id/sheet", d.orderSheet, in)
	e.POST(page.PathOrders+"/:id/change", d.orderChange, in)
	e.POST(page.PathOrders+"/:id/close", d.orderClose, in)
	e.POST(page.PathOrders+"/:id/cancel", d.orderCancel, in)
	e.POST(page.PathOrders+"/:id/reopen", d.orderReopen, in)
	e.POST(page.PathOrders+"/:id/undo", d.orderUndo, in)
	e.POST(page.PathOrders+"/:id/once", d.orderOnce, in)
}

// closedTwice is the filter for orders that two sites closed.
const closedTwice = "twice"

func orderStates() []page.Choice {
	return []page.Choice{{Value: string(view.OrderOpen), Text: "open"}, {Value: string(view.OrderDone), Text: "done"}, {Value: string(view.OrderCancelled), Text: "cancelled"}, {Value: closedTwice, Text: "closed twice"}, {Value: "all", Text: "all"}}
}

// orders lists work orders; without a filter the open ones.
func (d *Desk) orders(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Orders{Frame: d.frame(&p, "Work orders", page.PathEquipment), Lab: c.QueryParam("lab"), State: cmp.Or(c.QueryParam("state"), string(view.OrderOpen)), States: orderStates(), MayEdit: len(p.keeps()) > 0}
	several := len(p.names.All()) > 1
	if several {
		s.Labs = choices(p.names.All())
	}
	sc := p.Scope
	if s.Lab != "" {
		in, err := d.place(ctx, &p, s.Lab)
		if err != nil {
			return err
		}
		sc = in.Scope
	}
	f := view.WorkOrderFilter{State: view.OrderState(s.State)}
	if !slices.ContainsFunc(s.States, func(c page.Choice) bool { return c.Value == s.State }) {
		s.Notices = append(s.Notices, page.Notice{Level: page.Warn, Text: "There is no such state of work orders; the open ones are shown.", Fix: "Choose a state of the list."})
		s.State, f.State = string(view.OrderOpen), view.OrderOpen
	}
	switch s.State {
	case "all":
		f.State = ""
	case closedTwice:
		f.State, f.Twice = "", true
	}
	err = every(ctx, func(q view.Page) (view.List[view.WorkOrderRow], error) { return d.Views.WorkOrders(ctx, sc, f, q) }, func(o *view.WorkOrderRow) error {
		r := page.WorkOrderRow{ID: o.ID.String(), What: o.Order.What, Opened: o.Order.EffectiveAt.Time().In(d.zone), AssignedTo: o.Order.AssignedTo, State: present.OrderWord(o, d.zone), Why: present.CauseOfOrder(o.Order.Cause)}
		i, err := d.Views.Item(ctx, p.Scope, o.Order.Item)
		switch {
		case missing(err):
			r.Item = "an item that is not in the register"
		case err != nil:
			return err
		default:
			r.Item, r.Kind = i.Item.Title(), i.Item.Class
		}
		if several {
			if r.Lab, err = p.names.Of(ctx, o.Lab); err != nil {
				return err
			}
		}
		s.Rows = append(s.Rows, r)
		return nil
	})
	if err != nil {
		return err
	}
	return d.show(c, s)
}

func (d *Desk) newOrder(c echo.Context) error { return d.newOrderPage(c, nil, http.StatusOK) }

// newOrderPage offers the form, filled with why the item is due.
func (d *Desk) newOrderPage(c echo.Context, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.NewOrder{Frame: d.frame(&p, "New work order", page.PathEquipment), Form: httpkit.Blank(page.NewOrderFields(), page.PostWorkOrder, "order", "Open the work order")}
	labs := p.keeps()
	if len(labs) == 0 {
		return problem.New(problem.Forbidden, "Your role does not let you open work orders.", "Ask the lab's manager.")
	}
	var items []page.Choice
	err = d.eachKept(ctx, &p, labs, func(in roster.Place, suffix string) error {
		some, err := d.itemChoices(ctx, in, suffix)
		items = append(items, some...)
		return err
	})
	if err != nil {
		return err
	}
	s.Form.Choices = map[string][]page.Choice{"item": items}
	s.Form.Values = map[string]string{"item": c.QueryParam("item"), "cause": cmp.Or(c.QueryParam("cause"), lab.OrderByHand), "what": "Service."}
	if id, err := uuid.Parse(c.QueryParam("item")); err == nil && typed == nil {
		own, err := d.ownedItem(ctx, &p, id)
		if err != nil {
			return err
		}
		w := &upkeep.Watch{Read: d.Views, Scope: p.Scope, Now: d.Now().In(d.zone)}
		u, err := w.Of(ctx, id, own.in.IDs...)
		if err != nil {
			return err
		}
		s.Form.Values["reason"], _ = present.WhyOrder(&u, s.Form.Values["cause"], d.zone)
	}
	if typed != nil {
		typed.Into(&s.Form)
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

func (d *Desk) postOrder(c echo.Context) error {
	return d.post(c, page.NewOrderFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		item, in, err := d.labOfItem(ctx, c, f)
		if err != nil {
			return "", err
		}
		b := &lab.WorkOrder{Item: item, EffectiveAt: lab.At(d.Now()), Cause: f.Values["cause"], Reason: f.Values["reason"], What: f.Values["what"],
			Parts: present.ReadParts(f, "parts"), AssignedTo: f.Values["assigned_to"], PlannedMinutes: d.duration(f, "planned_minutes")}
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
		w := &upkeep.Watch{Read: d.Views, Scope: p.Scope, Now: d.Now().In(d.zone)}
		u, err := w.Of(ctx, item, at.IDs...)
		if err != nil {
			return "", err
		}
		why, shot := present.WhyOrder(&u, b.Cause, d.zone)
		if why == "" && b.Cause != lab.OrderByHand {
			f.Fault("cause", "%s", present.NotDueBy)
			return "", nil
		}
		b.Reason, b.Shot = cmp.Or(b.Reason, why), shot
		id, err := d.Register.RecordConfirmed(ctx, p.Principal, at, b, f.Values["confirmed"] != "")
		return done(page.OrderPath(id.String()), "opened"), err
	}, d.newOrderPage)
}

// duration reads a time in minutes; nil when the field is empty.
func (d *Desk) duration(f *httpkit.Filled, field string) *float64 {
	v := f.Number(field)
	if v != nil && (*v < 0 || *v > 1e6) {
		f.Fault(field, "%s", fmt.Sprintf("%g min is no duration. Give the minutes of work, as 45.", *v))
	}
	return v
}

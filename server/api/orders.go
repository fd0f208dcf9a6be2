package api

import (
	"cmp"
	"context"
	"net/http"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/server/roster"
	"thudbook/sync/inventory"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/present"
)

type orderAnswer struct {
	ID uuid.UUID `json:"id"`
	lab.WorkOrder
	State           view.OrderState `json:"state"`
	Service         *serviceAnswer  `json:"service"`          // that carried it out
	ClosedTwice     bool            `json:"closed_twice"`     // by two sites without sight of each other
	Further         []serviceAnswer `json:"further_services"` // of these, those after the first
	CancelledReason string          `json:"cancelled_reason,omitempty"`
	Unsettled       []string        `json:"unsettled"` // fields that were changed at two places without sight of each other
}

func orderOf(r *view.WorkOrderRow) orderAnswer {
	x := orderAnswer{ID: r.ID, WorkOrder: r.Order, State: r.State, ClosedTwice: r.ClosedTwice(), Further: []serviceAnswer{}, Unsettled: append([]string{}, r.Conflicts()...)}
	if r.Service != nil {
		x.Service = &serviceAnswer{r.Service.ID, r.Service.Service}
	}
	for i := range r.Further {
		x.Further = append(x.Further, serviceAnswer{r.Further[i].ID, r.Further[i].Service})
	}
	if r.State == view.OrderCancelled {
		x.CancelledReason = r.Withdrawn.Reason
	}
	return x
}

// orders lists the work orders of a lab, newest first.
func (a *API) orders(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	f := view.WorkOrderFilter{State: view.OrderState(c.QueryParam("state"))}
	if !slices.Contains([]view.OrderState{"", view.OrderOpen, view.OrderDone, view.OrderCancelled}, f.State) {
		return &problem.Error{Code: problem.Invalid, Where: "state", What: "There is no such state of a work order.", Fix: "Give open, done or cancelled, or leave it out for all."}
	}
	if text := c.QueryParam("item"); text != "" {
		if f.Item, err = uuid.Parse(text); err != nil {
			return &problem.Error{Code: problem.Invalid, Where: "item", What: "This is no id of an item.", Fix: "Look it up in the list of items.", Err: err}
		}
	}
	out := []orderAnswer{}
	err = every(c.Request().Context(), func(ctx context.Context, p view.Page) (view.List[view.WorkOrderRow], error) {
		return a.Views.WorkOrders(ctx, in.Scope, f, p)
	}, func(r *view.WorkOrderRow) error {
		out = append(out, orderOf(r))
		return nil
	})
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, out)
}

// ordered gives the lab and the work order of the address.
func (a *API) ordered(c echo.Context) (roster.Place, view.WorkOrderRow, error) {
	return about(a, c, "id", "work order", a.Views.WorkOrder)
}

func (a *API) order(c echo.Context) error {
	_, row, err := a.ordered(c)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, orderOf(&row))
}

// newOrder opens a work order. One that names what made the item due is refused
// unless that is so now; the reason and the stroke that shows it are then filled.
func (a *API) newOrder(c echo.Context) error {
	in, err := a.keeper(c)
	if err != nil {
		return err
	}
	b := &lab.WorkOrder{EffectiveAt: lab.At(a.Now()), Cause: lab.OrderByHand}
	if err := read(c, b); err != nil {
		return err
	}
	ctx := c.Request().Context()
	if b.Cause != lab.OrderByHand && slices.Contains(lab.OrderCauses(), b.Cause) {
		if _, err := a.Views.Item(ctx, in.Scope, b.Item); err != nil {
			return err
		}
		now := a.Now()
		u, err := (&upkeep.Watch{Read: a.Views, Scope: in.Scope, Now: now}).Of(ctx, b.Item, in.IDs...)
		if err != nil {
			return err
		}
		why, shot := present.WhyOrder(&u, b.Cause, now.Location())
		if why == "" {
			return &problem.Error{Code: problem.Conflict, Where: "cause", What: "The item is not due by this any more, or never was.", Fix: "Open the order with the cause by_hand if the work is wanted all the same."}
		}
		b.Reason, b.Shot = cmp.Or(b.Reason, why), shot
	}
	id, err := a.Register.RecordConfirmed(ctx, door.Of(c).Principal, in, b, inventory.Confirm(c.QueryParam("confirmed") == "yes"))
	if err != nil {
		return whole(err)
	}
	return created(c, id, "/api/v1/labs/"+in.ID.String()+"/work-orders/"+id.String())
}

// closeOrder records the service that carries an order out: one record, which
// sets the counters and makes the order done.
func (a *API) closeOrder(c echo.Context) error {
	if _, err := a.keeper(c); err != nil {
		return err
	}
	in, row, err := a.ordered(c)
	if err != nil {
		return err
	}
	b := &lab.Service{Item: row.Order.Item, EffectiveAt: lab.At(a.Now())}
	if err := read(c, b); err != nil {
		return err
	}
	if b.Item != row.Order.Item {
		return &problem.Error{Code: problem.Conflict, Where: "item", What: "The work order is for another item.", Fix: "Leave item out; it is that of the order."}
	}
	if b.WorkOrder != nil && *b.WorkOrder != row.ID {
		return &problem.Error{Code: problem.Conflict, Where: "work_order", What: "The address names another work order.", Fix: "Leave work_order out; it is that of the address."}
	}
	b.WorkOrder = &row.ID
	id, err := a.Register.RecordConfirmed(c.Request().Context(), door.Of(c).Principal, in, b, inventory.Confirm(c.QueryParam("confirmed") == "yes"))
	if err != nil {
		return whole(err)
	}
	return created(c, id, "/api/v1/labs/"+in.ID.String()+"/services?item="+b.Item.String())
}

// cancelOrder says that an order will not be carried out, or with lifted that
// it will be after all.
func (a *API) cancelOrder(lifted bool) echo.HandlerFunc {
	return func(c echo.Context) error {
		if _, err := a.keeper(c); err != nil {
			return err
		}
		in, row, err := a.ordered(c)
		if err != nil {
			return err
		}
		var q struct {
			Reason string `json:"reason"`
		}
		if err := read(c, &q); err != nil {
			return err
		}
		if err := a.Register.CancelOrder(c.Request().Context(), door.Of(c).Principal, in, row.ID, q.Reason, lifted); err != nil {
			return whole(err)
		}
		return c.NoContent(http.StatusNoContent)
	}
}

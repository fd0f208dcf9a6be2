package inventory

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/view"
)

// order looks up the work order that a fact names.
func (k *checker) order(ctx context.Context, id uuid.UUID) (view.WorkOrderRow, error) {
	o, err := k.v.WorkOrder(ctx, k.only, id)
	return o, unknown(err, "work_order", "The lab has no such work order.", "Choose one of the list, or record the service without one.")
}

// ended words that an order is not open any more.
func ended(o *view.WorkOrderRow) error {
	if o.State == view.OrderDone {
		return clash("work_order", fmt.Sprintf("The work order is done already: a service of %s carries it out.", date(o.Service.Service.EffectiveAt)),
			"Look at the order. Further work is another order or a service without one.")
	}
	return clash("work_order", "The work order was cancelled ("+o.Withdrawn.Reason+").", "Open it again first, or record the service without it.")
}

// carriesOut refuses a service for an order that is not open, or of another item.
func (k *checker) carriesOut(ctx context.Context, b *lab.Service) error {
	if b.WorkOrder == nil {
		return nil
	}
	o, err := k.order(ctx, *b.WorkOrder)
	if err != nil {
		return err
	}
	if o.Order.Item != b.Item {
		return clash("work_order", "The work order is for another item.", "Choose the order of this item.")
	}
	if o.State != view.OrderOpen {
		return ended(&o)
	}
	return nil
}

// opens refuses an order for an item that is retired, and asks before a second
// one is opened for the same item.
func (k *checker) opens(ctx context.Context, b *lab.WorkOrder) error {
	s, err := k.v.StateAt(ctx, k.only, b.Item, b.EffectiveAt)
	if err != nil {
		return err
	}
	if s.State() == lab.StateRetired {
		return clash("item", fmt.Sprintf("The item is retired since %s (%s).", date(s.ItemState.EffectiveAt), s.ItemState.Reason), "Put it into service again first.")
	}
	open, err := k.v.OpenOrders(ctx, k.only, b.Item)
	if err != nil || len(open) == 0 || bool(k.confirmed) {
		return err
	}
	return clash("item", fmt.Sprintf("It has an open work order of %s already: %s.", date(open[0].Order.EffectiveAt), open[0].Order.What), "Add to that one; if this is another job, confirm it.")
}

// cancels refuses to cancel an order that is not open, and to open again one
// that was not cancelled.
func (k *checker) cancels(ctx context.Context, b *lab.OrderCancelled) error {
	o, err := k.order(ctx, b.Order)
	if err != nil {
		return err
	}
	switch {
	case !b.Lifted && o.State != view.OrderOpen:
		return ended(&o)
	case b.Lifted && o.State != view.OrderCancelled:
		return clash("work_order", "The work order is not cancelled.", "Look at the order as it is now.")
	}
	return nil
}

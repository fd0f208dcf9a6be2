package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// OrderState says how far a work order is.
type OrderState string

// The states. A service that names the order makes it done, also one that was
// recorded elsewhere after it had been cancelled here: the work was done.
const (
	OrderOpen      OrderState = "open"
	OrderDone      OrderState = "done"
	OrderCancelled OrderState = "cancelled"
)

// WorkOrderRow is one work order. Withdrawn, of its head, is its cancelling.
type WorkOrderRow struct {
	Head
	Order   lab.WorkOrder
	State   OrderState
	Service *ServiceRow  // that carried it out; nil unless it is done
	Further []ServiceRow // that name it too, written without sight of the first
	Since   *ServiceRow  // of an open order, the item's last service that was recorded without naming it after it was opened
}

// ClosedTwice says that two sites closed the order without sight of each other.
// Both services stand; the first by clock, then by node, is the one that carried
// it out, whichever arrived first.
func (o *WorkOrderRow) ClosedTwice() bool { return len(o.Further) > 0 }

const byOrder = "order" // work order, stamp; of services that stand

func workOrderOf(o *lab.WorkOrder) (uuid.UUID, lab.Time) { return o.Item, o.EffectiveAt }
func workOrderTime(o *lab.WorkOrder) lab.Time            { return o.EffectiveAt }

// workOrderTable lists orders by item and by time, cancelled ones too.
func workOrderTable() *index.Table[doc[lab.WorkOrder]] {
	type row = doc[lab.WorkOrder]
	return &index.Table[row]{Name: "view.workorder", Key: keyOf[lab.WorkOrder], Indexes: []index.Index[row]{
		inTime(workOrderTime),
		{Name: byItem, Keys: func(d *row) [][]byte {
			if !d.shown() {
				return nil
			}
			item, at := workOrderOf(d.body())
			return one(item[:], when(at), d.Made.Stamp.key())
		}},
	}}
}

func serviceTable() *index.Table[doc[lab.Service]] {
	return dated("view.service", serviceOf, inTime(serviceTime), index.Index[doc[lab.Service]]{
		Name: byOrder,
		Keys: func(d *doc[lab.Service]) [][]byte {
			if !d.stands() || d.body().WorkOrder == nil {
				return nil
			}
			return one(d.body().WorkOrder[:], d.Made.Stamp.key())
		},
	})
}

// WorkOrderFilter narrows the list of work orders.
type WorkOrderFilter struct {
	State OrderState // "": all
	Item  uuid.UUID  // zero: all
	Twice bool       // those alone that were closed twice
}

// WorkOrders lists work orders, the newest first.
func (v *Reader) WorkOrders(ctx context.Context, sc scope.Scope, f WorkOrderFilter, page Page) (out List[WorkOrderRow], err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = List[WorkOrderRow]{}
		labs, err := v.set.labsOf(r, sc)
		if err != nil {
			return err
		}
		q := newestFirst(v.set.workOrders, LogFilter{}, workOrderTime)
		kept := map[string]WorkOrderRow{}
		var failed error
		q.keep = func(d *doc[lab.WorkOrder]) bool {
			if f.Item != uuid.Nil && d.body().Item != f.Item || failed != nil {
				return false
			}
			row, err := v.set.workOrder(r, sc, d)
			if failed = err; err != nil || f.State != "" && row.State != f.State || f.Twice && !row.ClosedTwice() {
				return false
			}
			kept[string(keyOf(d))] = row
			return true
		}
		rows, next, err := run(r, labs, q, page)
		if err != nil || failed != nil {
			return firstOf(err, failed)
		}
		out.Next = next
		for _, d := range rows {
			out.Rows = append(out.Rows, kept[string(keyOf(d))])
		}
		return nil
	})
	return out, err
}

func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// WorkOrder gives one.
func (v *Reader) WorkOrder(ctx context.Context, sc scope.Scope, id uuid.UUID) (out WorkOrderRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		d, err := find(r, v.set.workOrders, sc, id)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindWorkOrder, id)
		}
		out, err = v.set.workOrder(r, sc, d)
		return err
	})
	return out, err
}

// OpenOrders lists the open work orders of an item, the newest first.
func (v *Reader) OpenOrders(ctx context.Context, sc scope.Scope, item uuid.UUID) ([]WorkOrderRow, error) {
	return v.ordersOf(ctx, sc, item, func(o *WorkOrderRow) bool { return o.State == OrderOpen })
}

// OrdersToSee lists the work orders of an item that a person has to look at, the
// newest first: those that are open, and those that were closed twice.
func (v *Reader) OrdersToSee(ctx context.Context, sc scope.Scope, item uuid.UUID) ([]WorkOrderRow, error) {
	return v.ordersOf(ctx, sc, item, func(o *WorkOrderRow) bool { return o.State == OrderOpen || o.ClosedTwice() })
}

func (v *Reader) ordersOf(ctx context.Context, sc scope.Scope, item uuid.UUID, keep func(*WorkOrderRow) bool) (out []WorkOrderRow, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		out = nil
		for d, err := range v.set.workOrders.ScanIndex(r, byItem, item[:], kv.PrefixEnd(item[:]), true) {
			if err != nil {
				return err
			}
			if !sc.Allows(d.Lab) {
				continue
			}
			row, err := v.set.workOrder(r, sc, d)
			if err != nil {
				return err
			}
			if keep(&row) {
				out = append(out, row)
			}
		}
		return nil
	})
	return out, err
}

// workOrder says how far an order is: from the services that name it, then from
// its cancelling.
func (s *Set) workOrder(r kv.Reader, sc scope.Scope, d *doc[lab.WorkOrder]) (WorkOrderRow, error) {
	row := WorkOrderRow{Head: d.head(), Order: *d.body(), State: OrderOpen}
	for v, err := range s.services.ScanIndex(r, byOrder, d.UID[:], kv.PrefixEnd(d.UID[:]), false) {
		if err != nil {
			return row, err
		}
		if !sc.Allows(v.Lab) || v.body().Item != row.Order.Item {
			continue
		}
		one := ServiceRow{Head: v.head(), Service: *v.body()}
		if row.Service == nil {
			row.Service, row.State = &one, OrderDone
		} else {
			row.Further = append(row.Further, one)
		}
	}
	switch {
	case row.State == OrderDone:
	case row.Withdrawn != nil:
		row.State = OrderCancelled
	default:
		last, err := first(sc, s.services.ScanIndex(r, byItem, kv.Join(row.Order.Item[:], when(row.Order.EffectiveAt)), kv.PrefixEnd(row.Order.Item[:]), true))
		if err != nil {
			return row, err
		}
		if last != nil {
			row.Since = &ServiceRow{Head: last.head(), Service: *last.body()}
		}
	}
	return row, nil
}

package register

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/roster"
	"thudbook/sync/inventory"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/view"
)

// OrderChange is what may be changed of a work order while it is open.
type OrderChange struct {
	What           string
	Parts          []lab.Part
	AssignedTo     string
	PlannedMinutes *float64
}

// ChangeOrder changes an open work order. What is already so is not written again.
func (r *Register) ChangeOrder(ctx context.Context, p account.Principal, in roster.Place, id uuid.UUID, next OrderChange) error {
	return r.aboutOrder(ctx, p, in, id, func(v *view.Reader, row *view.WorkOrderRow) ([]ledger.Draft, error) {
		if row.State != view.OrderOpen {
			e := problem.New(problem.Conflict, "The work order is "+string(row.State)+" and stays as it is.", "Look at it as it is now; further work is another order.")
			e.Where = "what"
			return nil, e
		}
		b := row.Order
		e := fieldEdits{author: p.Author(), doc: id, kind: lab.KindWorkOrder, head: &row.Head}
		set(&e, "what", &b.What, next.What)
		set(&e, "assigned_to", &b.AssignedTo, next.AssignedTo)
		replace(&e, "planned_minutes", &b.PlannedMinutes, next.PlannedMinutes, func(a, b *float64) bool { return a == b || a != nil && b != nil && *a == *b })
		replace(&e, "parts", &b.Parts, next.Parts, func(a, b []lab.Part) bool { return slices.Equal(a, b) })
		return e.drafts(b.Validate())
	})
}

// CancelOrder says that an open order will not be carried out, or with lifted
// that a cancelled one will be after all.
func (r *Register) CancelOrder(ctx context.Context, p account.Principal, in roster.Place, id uuid.UUID, reason string, lifted bool) error {
	return r.aboutOrder(ctx, p, in, id, func(v *view.Reader, _ *view.WorkOrderRow) ([]ledger.Draft, error) {
		d, err := inventory.Draft(ctx, v, in.Scope, inventory.Fact{Lab: in.ID, Author: p.Author(), About: id, Body: &lab.OrderCancelled{Order: id, Reason: reason, Lifted: lifted}})
		return []ledger.Draft{d}, err
	})
}

// aboutOrder writes about a work order, in the lab that it was written for, in
// one step with looking at it.
func (r *Register) aboutOrder(ctx context.Context, p account.Principal, in roster.Place, id uuid.UUID, do func(*view.Reader, *view.WorkOrderRow) ([]ledger.Draft, error)) error {
	if err := MayKeep(p, in.ID); err != nil {
		return err
	}
	row, err := r.Views.WorkOrder(ctx, in.Scope, id)
	if err != nil {
		return err
	}
	_, err = r.Ledger.AppendWith(ctx, row.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		v := view.Within(r.Views, tx)
		row, err := v.WorkOrder(ctx, in.Scope, id)
		if err != nil {
			return nil, err
		}
		return do(v, &row)
	})
	return err
}

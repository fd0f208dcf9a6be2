package register

import (
	"context"
	"errors"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/roster"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// PlanFaults says at its field what cannot be meant by a plan.
func PlanFaults(p *lab.ServicePlan) error {
	var all []error
	for _, x := range []struct {
		field       string
		every, warn int64
	}{{"warn_strokes", p.EveryStrokes, p.WarnStrokes}, {"warn_days", p.EveryDays, p.WarnDays}} {
		if x.every > 0 && x.warn >= x.every {
			all = append(all, &problem.Error{Code: problem.Invalid, Where: x.field, What: "The warning would stand all the time.", Fix: "Give fewer than the interval."})
		}
	}
	return errors.Join(all...)
}

// Plan changes the service plan that an item has for itself; next is what it is
// to be. What is already so is not written again.
func (r *Register) Plan(ctx context.Context, p account.Principal, in roster.Place, item uuid.UUID, next lab.ServicePlan, none bool, still Still) error {
	if err := MayKeep(p, in.ID); err != nil {
		return err
	}
	if err := PlanFaults(&next); err != nil {
		return err
	}
	row, err := r.Views.Item(ctx, in.Scope, item)
	if err != nil {
		return err
	}
	_, err = r.Ledger.AppendWith(ctx, row.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		row, err := view.Within(r.Views, tx).Item(ctx, in.Scope, item)
		if err != nil {
			return nil, err
		}
		if err := still.holds(&row.Head); err != nil {
			return nil, err
		}
		i := row.Item
		e := fieldEdits{author: p.Author(), doc: item, kind: lab.KindItem, head: &row.Head}
		set(&e, "service_every_strokes", &i.ServiceEveryStrokes, next.EveryStrokes)
		set(&e, "service_every_days", &i.ServiceEveryDays, next.EveryDays)
		set(&e, "warn_strokes", &i.WarnStrokes, next.WarnStrokes)
		set(&e, "warn_days", &i.WarnDays, next.WarnDays)
		set(&e, "service_after_failed_check", &i.ServiceAfterCheck, next.AfterCheck)
		set(&e, "service_after_speed_drift", &i.ServiceAfterDrift, next.AfterDrift)
		set(&e, "no_service_plan", &i.NoServicePlan, none)
		return e.drafts(i.Validate())
	})
	return err
}

// ClassPlan sets the service plan of a class; an empty one takes it away. What
// is already so is not written again, and a field that has two values is settled.
func (r *Register) ClassPlan(ctx context.Context, p account.Principal, in roster.Place, next lab.ServicePlan, still Still) error {
	if err := MayKeep(p, in.ID); err != nil {
		return err
	}
	if err := errors.Join(next.Validate(), PlanFaults(&next)); err != nil {
		return err
	}
	id := lab.ServicePlanOf(in.ID, next.Class)
	_, err := r.Ledger.AppendWith(ctx, in.ID, func(tx kv.Tx) ([]ledger.Draft, error) {
		row, err := view.Within(r.Views, tx).ServicePlan(ctx, in.Scope, id)
		if problem.Of(err) == problem.NotFound {
			if err := still.holds(nil); err != nil {
				return nil, err
			}
			kind, schema, body, err := lab.Encode(&next)
			return []ledger.Draft{{Kind: kind, Schema: schema, Author: p.Author(), UID: id, Body: body}}, err
		}
		if err != nil {
			return nil, err
		}
		if err := still.holds(&row.Head); err != nil {
			return nil, err
		}
		b := row.Plan
		e := fieldEdits{author: p.Author(), doc: id, kind: lab.KindServicePlan, head: &row.Head}
		set(&e, "every_strokes", &b.EveryStrokes, next.EveryStrokes)
		set(&e, "every_days", &b.EveryDays, next.EveryDays)
		set(&e, "warn_strokes", &b.WarnStrokes, next.WarnStrokes)
		set(&e, "warn_days", &b.WarnDays, next.WarnDays)
		set(&e, "after_failed_check", &b.AfterCheck, next.AfterCheck)
		set(&e, "after_speed_drift", &b.AfterDrift, next.AfterDrift)
		return e.drafts(b.Validate())
	})
	return err
}

// Still refuses a change to a document that is not any more what the person who
// asks for it saw; its head is nil where there is no document yet. It runs in
// the transaction that writes. Nil: it does not matter.
type Still func(*view.Head) error

func (s Still) holds(now *view.Head) error {
	if s == nil {
		return nil
	}
	return s(now)
}

// fieldEdits gathers the edits of one document.
type fieldEdits struct {
	author string
	doc    uuid.UUID
	kind   record.Kind
	head   *view.Head
	all    []ledger.Draft
	err    error
}

// set edits a field that is not so yet, or that has more than one value.
func set[T comparable](e *fieldEdits, field string, at *T, to T) {
	replace(e, field, at, to, func(a, b T) bool { return a == b })
}

// replace is set for what has an equality of its own.
func replace[T any](e *fieldEdits, field string, at *T, to T, same func(T, T) bool) {
	if same(*at, to) && len(e.head.Edited[field].Others) == 0 || e.err != nil {
		return
	}
	*at = to
	b, err := lab.NewEdit(e.doc, e.kind, field, to, e.head.Base(field)...)
	if err != nil {
		e.err = err
		return
	}
	kind, schema, body, err := lab.Encode(b)
	e.err = err
	e.all = append(e.all, ledger.Draft{Kind: kind, Schema: schema, Author: e.author, UID: e.doc, Body: body})
}

// drafts gives them, unless the document that comes out is wrong.
func (e *fieldEdits) drafts(wrong error) ([]ledger.Draft, error) {
	if wrong != nil {
		return nil, wrong
	}
	return e.all, e.err
}

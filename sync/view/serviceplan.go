package view

import (
	"context"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// ServicePlanRow is the service plan of a class with its edits applied.
type ServicePlanRow struct {
	Head
	Plan lab.ServicePlan
}

func servicePlanTable() *index.Table[doc[lab.ServicePlan]] {
	return named("view.serviceplan", func(p *lab.ServicePlan) [][]byte { return [][]byte{kv.Str(lab.Fold(p.Class))} })
}

func servicePlanRow(d *doc[lab.ServicePlan]) ServicePlanRow {
	return ServicePlanRow{Head: d.head(), Plan: *d.body()}
}

// ServicePlans lists the plans of classes by class; an empty one is no plan any more.
func (v *Reader) ServicePlans(ctx context.Context, sc scope.Scope, page Page) (List[ServicePlanRow], error) {
	return list(ctx, v, sc, byNames(v.set.servicePlans, func(p *lab.ServicePlan) [][]byte { return [][]byte{kv.Str(lab.Fold(p.Class))} }), page, servicePlanRow)
}

// ServicePlan gives one.
func (v *Reader) ServicePlan(ctx context.Context, sc scope.Scope, id uuid.UUID) (ServicePlanRow, error) {
	d, err := get(ctx, v, v.set.servicePlans, sc, lab.KindServicePlan, id)
	if err != nil {
		return ServicePlanRow{}, err
	}
	return servicePlanRow(d), nil
}

// HeldPlan is the service plan that holds for an item.
type HeldPlan struct {
	lab.ServicePlan
	ByClass *ServicePlanRow // nil: the item's own
}

// planOf gives the plan that holds for an item: its own, or else that of its
// class in its lab, of which also names further ids. An early warning that the
// item has for itself goes before that of the class.
func (s *Set) planOf(r kv.Reader, sc scope.Scope, d *doc[lab.Item], also []record.LabID) (HeldPlan, error) {
	i := d.body()
	own, ok := i.OwnPlan()
	if ok {
		return HeldPlan{ServicePlan: own}, nil
	}
	var last *doc[lab.ServicePlan]
	for _, of := range append([]record.LabID{d.Lab}, also...) {
		if !sc.Allows(of) {
			continue
		}
		p, ok, err := s.servicePlans.Get(r, docKey(lab.ServicePlanOf(of, i.Class), of))
		if err != nil {
			return HeldPlan{}, err
		}
		if ok && p.stands() && !p.body().Empty() && (last == nil || p.Made.Stamp.Compare(last.Made.Stamp) > 0) {
			last = p
		}
	}
	if last == nil {
		return HeldPlan{ServicePlan: own}, nil
	}
	h := HeldPlan{ServicePlan: *last.body(), ByClass: new(servicePlanRow(last))}
	if own.WarnStrokes > 0 {
		h.WarnStrokes = own.WarnStrokes
	}
	if own.WarnDays > 0 {
		h.WarnDays = own.WarnDays
	}
	return h, nil
}

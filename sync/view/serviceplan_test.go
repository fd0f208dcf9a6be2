package view_test

import (
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/view"
)

// An item goes by its own plan, else by that of its class in its lab; another
// lab's plan never holds, and an id of the lab's from before its enrolment does
// when it is named.
func TestPlanOfClassAndItem(t *testing.T) {
	w := openWorld(t)
	now := labtest.Start()
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R-1"})
	w.sayAs(node1, labB, ram2, &lab.Item{Class: "Ram ", Serial: "R-2"})
	held := func(item uuid.UUID, also ...uuid.UUID) view.HeldPlan {
		t.Helper()
		u, err := w.ServiceDue(w.ctx(), allOf(labA, labB), item, now, also...)
		if err != nil {
			t.Fatal(err)
		}
		if u.Interval != u.Plan.EveryStrokes {
			t.Errorf("interval %d, the plan says %d", u.Interval, u.Plan.EveryStrokes)
		}
		return u.Plan
	}
	set := func(doc uuid.UUID, of uuid.UUID, kind string, field string, v any) {
		t.Helper()
		k := lab.KindItem
		if kind == "plan" {
			k = lab.KindServicePlan
		}
		e, err := lab.NewEdit(doc, k, field, v)
		if err != nil {
			t.Fatal(err)
		}
		w.sayAs(node1, of, doc, e)
	}
	if p := held(ram1); p.ByClass != nil || !p.Empty() {
		t.Errorf("no plan was set, %+v holds", p)
	}
	plan := lab.ServicePlanOf(labA, "RAM")
	w.say(plan, &lab.ServicePlan{Class: lab.ClassRam, EveryStrokes: 1000, WarnStrokes: 50, AfterDrift: true})
	if p := held(ram1); p.ByClass == nil || p.EveryStrokes != 1000 || !p.AfterDrift {
		t.Errorf("the class has a plan, %+v holds", p)
	}
	if p := held(ram2); p.ByClass != nil {
		t.Errorf("the plan of another lab holds: %+v", p)
	}
	if p := held(ram2, labA); p.EveryStrokes != 1000 {
		t.Errorf("the plan under the lab's other id does not hold: %+v", p)
	}
	set(ram1, labA, "item", "warn_strokes", 200)
	if p := held(ram1); p.WarnStrokes != 200 || p.EveryStrokes != 1000 {
		t.Errorf("the item warns at 200 for itself: %+v", p)
	}
	set(ram1, labA, "item", "service_every_days", 30)
	if p := held(ram1); p.ByClass != nil || p.EveryDays != 30 || p.EveryStrokes != 0 || p.AfterDrift {
		t.Errorf("the item has its own plan, %+v holds", p)
	}
	set(ram1, labA, "item", "service_every_days", nil)
	set(ram1, labA, "item", "no_service_plan", true)
	if p := held(ram1); !p.Empty() || p.ByClass != nil {
		t.Errorf("the item is to have no plan, %+v holds", p)
	}
	set(ram1, labA, "item", "no_service_plan", false)
	for _, f := range []string{"every_strokes", "after_speed_drift"} {
		set(plan, labA, "plan", f, nil)
	}
	if p := held(ram1); p.ByClass != nil || !p.Empty() {
		t.Errorf("the plan of the class was taken away, %+v holds", p)
	}
	l, err := w.ServicePlans(w.ctx(), onlyA, view.Page{})
	if err != nil || len(l.Rows) != 1 || l.Rows[0].Plan.Class != lab.ClassRam {
		t.Errorf("plans %+v, %v", l.Rows, err)
	}
}

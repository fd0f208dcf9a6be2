package server_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// TestClosedTwice: the server and a rig PC close one order while they have no
// contact. Both services stay, the order is done once, and it says so.
func TestClosedTwice(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Rowan", 12)
	base := "/api/v1/labs/" + s.id.String()
	id := s.manager.make(base+"/work-orders", map[string]any{"item": s.Ram, "what": "change the seals"})
	one := base + "/work-orders/" + id.String()
	s.sync()
	here := s.manager.make(one+"/close", map[string]any{"note": "done by the office", "effective_at": time.Now().Add(-2 * time.Minute)})
	there := labtest.ID("Rowan", "closed at the rig")
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, there, &lab.Service{Item: s.Ram, EffectiveAt: lab.At(time.Now().Add(-time.Minute)), WorkOrder: &id, Note: "done at the rig"}))
	text := func(path string) string { return words(s.manager.get(path).want(t, 200, path).body) }
	if got := text("/equipment/orders/" + id.String()); strings.Contains(got, "losed twice") {
		t.Error("closed twice before the rig PC was heard of")
	}
	s.sync()
	type order struct {
		State   string
		Twice   bool `json:"closed_twice"`
		Service struct{ ID uuid.UUID }
		Further []struct{ ID uuid.UUID } `json:"further_services"`
	}
	o := into[order](t, s.operator.get(one).want(t, 200, "the order"))
	kept, other := "done by the office", "done at the rig"
	first, second := here, there
	if o.Service.ID == there { // both clocks may show the same millisecond
		kept, other, first, second = other, kept, there, here
	}
	if o.State != "done" || !o.Twice || o.Service.ID != first || len(o.Further) != 1 || o.Further[0].ID != second {
		t.Fatalf("the order: %+v; %s and %s closed it", o, here, there)
	}
	page := "/equipment/orders/" + id.String()
	for path, want := range map[string][]string{
		page:                               {"closed twice", "done by the office", "done at the rig", "It was the same work"},
		"/equipment/orders?state=twice":    {"closed twice", "change the seals"},
		"/equipment/use/" + s.Ram.String(): {"closed twice"},
		"/log":                             {"done by the office", "done at the rig"},
	} {
		for _, x := range want {
			if got := text(path); !strings.Contains(got, x) {
				t.Errorf("%s lacks %q: %.1500s", path, x, got)
			}
		}
	}
	if got := words(s.operator.get(page).body); strings.Contains(got, "It was the same work") {
		t.Error("an operator is offered to withdraw")
	}
	s.operator.form(page+"/once", url.Values{"reason": {"the same"}}).want(t, 403, "an operator")
	s.manager.form(page+"/once", url.Values{"reason": {""}}).want(t, 422, "for no reason")
	s.manager.form(page+"/once", url.Values{"reason": {"the same work"}}).want(t, 303, "once")
	s.manager.form(page+"/once", url.Values{"reason": {"again"}}).want(t, 409, "once again")
	if o = into[order](t, s.operator.get(one)); o.State != "done" || o.Twice || o.Service.ID != first {
		t.Errorf("after it was settled: %+v", o)
	}
	if got := text(page); strings.Contains(got, "closed twice") || !strings.Contains(got, kept) || strings.Contains(got, other) {
		t.Errorf("after it was settled: %.900s", got)
	}
}

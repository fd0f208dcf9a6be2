package server_test

import (
	"net/url"
	"path"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
)

// TestWorkOrders opens a work order from an overdue plan, refuses what is wrong,
// closes it in one tab while another has it open too, and takes that back.
func TestWorkOrders(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Hazel", 30)
	base := "/api/v1/labs/" + s.id.String()
	other := w.open("Larch", 3)
	s.manager.form("/equipment/plans", url.Values{"item": {s.Ram.String()}, "service_every_strokes": {"10"}}).want(t, 303, "a plan")
	see := func(path string, want ...string) string {
		t.Helper()
		text := strings.ReplaceAll(words(s.manager.get(path).want(t, 200, path).body), "\u202f", " ")
		for _, x := range want {
			if !strings.Contains(text, x) {
				t.Errorf("%s lacks %q: %.2500s", path, x, text)
			}
		}
		return text
	}
	see("/health", "service overdue by", "Open a work order")
	if text := words(s.operator.get("/health").body); strings.Contains(text, "Open a work order") {
		t.Error("an operator is offered what the role does not allow")
	}
	see("/equipment/orders", "No work order is open.")
	if text := see("/equipment/orders?state=foo", "There is no such state of work orders; the open ones are shown.", "No work order is open."); strings.Contains(text, "foo") {
		t.Error("a state that is none is repeated as one")
	}
	see("/equipment/orders?state=twice", "No work order is closed twice.")
	if text := see("/equipment/orders/new"); !strings.Contains(text, "choose …") {
		t.Error("an item is chosen that nobody chose")
	}
	if body := s.manager.get("/equipment/orders/new?item="+s.Ram.String()+"&cause=plan").want(t, 200, "the form").body; !strings.Contains(words(body), "Service overdue by") {
		t.Error("the form does not say why the item is due")
	}
	order := url.Values{"item": {s.Ram.String()}, "cause": {"plan"}, "what": {"change the seals"}, "parts": {"2; piston seal; PS-14\n\n1; guide ring"}, "assigned_to": {"workshop"}, "planned_minutes": {"90"}}
	for parts, want := range map[string]string{"0; seal": "Line 1: “0” is no quantity.", "2; seal\n-1; ring": "Line 2: “-1” is no quantity.", "seal": "Line 1, “seal”: write quantity; name; number", "2;": "Line 1: the part has no name."} {
		if a := s.manager.form("/equipment/orders", with(order, "parts", parts)).want(t, 422, parts); !strings.Contains(words(a.body), want) {
			t.Errorf("%q is not answered with %q: %.900s", parts, want, words(a.body))
		}
	}
	s.manager.form("/equipment/orders", with(order, "planned_minutes", "-5")).want(t, 422, "a negative duration")
	if a := s.manager.form("/equipment/orders", with(order, "cause", "speed_drift")).want(t, 422, "no drift"); !strings.Contains(words(a.body), "The item is not due by this") {
		t.Errorf("an order from what was not seen: %.600s", words(a.body))
	}
	s.operator.form("/equipment/orders", order).want(t, 403, "an operator opening one")
	at := s.manager.form("/equipment/orders", order).want(t, 303, "an order").header.Get("Location")
	one := path.Dir(at) + "/" + strings.SplitN(path.Base(at), "?", 2)[0]
	see(at, "The work order is open.", "open since", "opened from the service plan. Service overdue by", "2 × piston seal no. PS-14", "1 × guide ring", "90 min", "workshop")
	see(one+"/sheet", "Supply of air shut and locked out", "local rules", "Signature")
	see("/equipment/use/"+s.Ram.String(), "Work order ▲ open since")
	see("/health", "Work order open since")
	other.manager.get(one).want(t, 404, "of another lab")
	other.manager.form(one+"/cancel", url.Values{"reason": {"x"}}).want(t, 404, "of another lab")
	if a := s.manager.form("/equipment/orders", order).want(t, 409, "a second one"); !strings.Contains(words(a.body), "It has an open work order of") {
		t.Errorf("the open order is not named: %.600s", words(a.body))
	}
	s.manager.form(one+"/change", with(order, "assigned_to", "outside firm")).want(t, 303, "another one to do it")
	see(one, "outside firm")

	// Two tabs: the one that comes second is told, and nothing is written twice.
	now := time.Now().Format("2006-01-02T15:04:05")
	work := url.Values{"effective_at": {now}, "note": {"seals changed"}, "used": {"2; piston seal; PS-14"}, "counter_strokes": {"5000"}, "duration_minutes": {"75"}, "done_by": {"outside firm"}}
	s.manager.form(one+"/close", with(work, "used", "0; seal")).want(t, 422, "no pieces")
	s.manager.form(one+"/close", with(work, "effective_at", "2999-01-01")).want(t, 422, "in the future")
	s.operator.form(one+"/close", work).want(t, 403, "an operator closing it")
	s.manager.form(one+"/close", work).want(t, 303, "done")
	see(one, "done on", "75 min", "recorded by", "due in 10 strokes")
	if a := s.manager.form(one+"/close", with(work, "note", "in the other tab")).want(t, 409, "closed again"); !strings.Contains(words(a.body), "The work order is done already") {
		t.Errorf("closed again: %.900s", words(a.body))
	}
	s.manager.form(one+"/cancel", url.Values{"reason": {"late"}}).want(t, 409, "cancelled when it is done")
	s.manager.form(one+"/change", order).want(t, 409, "changed when it is done")
	services := into[[]struct {
		ID string
		lab.Service
	}](t, s.manager.get(base+"/services?item="+s.Ram.String()))
	n := 0
	for _, v := range services {
		if v.WorkOrder != nil {
			n++
			if v.Used[0].Number != "PS-14" || v.Used[0].Quantity != 2 || *v.DurationMinutes != 75 {
				t.Errorf("the service has %+v", v.Service)
			}
		}
	}
	if n != 1 {
		t.Errorf("%d services carry the order out, want 1", n)
	}
	see("/log", "2 × piston seal, no. PS-14")

	// A counter that runs backwards is refused where it is typed.
	next := s.manager.form("/equipment/orders", with(order, "cause", "by_hand")).want(t, 303, "another order").header.Get("Location")
	next = strings.SplitN(next, "?", 2)[0]
	if a := s.manager.form(next+"/close", with(work, "counter_strokes", "4000")).want(t, 409, "fewer strokes"); !strings.Contains(words(a.body), "the counter showed 5000 strokes; 4000 are fewer") {
		t.Errorf("fewer strokes than at the last service: %.900s", words(a.body))
	}
	s.manager.form(next+"/cancel", url.Values{}).want(t, 422, "cancelled for no reason")
	s.manager.form(next+"/cancel", url.Values{"reason": {"goes to the maker"}}).want(t, 303, "cancelled")
	see(next, "cancelled", "goes to the maker")
	s.manager.form(next+"/close", work).want(t, 409, "closed when it is cancelled")
	s.manager.form(next+"/reopen", url.Values{"reason": {"comes back"}}).want(t, 303, "open again")
	s.manager.form(next+"/reopen", url.Values{"reason": {"twice"}}).want(t, 409, "open already")
	see("/equipment/orders", "open since")

	// Taken back: the order is open, and the strokes count as before.
	s.manager.form(one+"/undo", url.Values{"reason": {"was another ram"}}).want(t, 303, "taken back")
	see(one, "open since", "overdue by")
}

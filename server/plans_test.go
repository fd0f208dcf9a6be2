package server_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
)

// TestPlans sets the plan of a class and sees that items go by it unless they
// have one of their own, that an operator may not, and that what is wrong is said.
func TestPlans(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Alder", 12)
	page := func(path string) string {
		t.Helper()
		return words(s.operator.get(path).want(t, 200, path).body)
	}
	has := func(path string, want ...string) {
		t.Helper()
		text := strings.ReplaceAll(page(path), "\u202f", " ")
		for _, x := range want {
			if !strings.Contains(text, x) {
				t.Errorf("%s lacks %q: %.1800s", path, x, text)
			}
		}
	}
	has("/equipment/plans", "No kind of equipment has a plan.")
	plan := url.Values{"lab": {s.id.String()}, "class": {"Neck"}, "every_days": {"90"}, "after_failed_check": {"yes"}}
	for field, value := range map[string]string{"class": "foo", "every_days": "0", "warn_days": "90"} {
		if a := s.manager.form("/equipment/plans/class", with(plan, field, value)).want(t, 422, field+" "+value); !strings.Contains(a.body, `id="`) {
			t.Errorf("%s: %.400s", field, a.body)
		}
	}
	s.operator.form("/equipment/plans/class", plan).want(t, 403, "an operator setting a plan")
	if a := s.manager.form("/equipment/plans/class", with(plan, "every_days", "40000")).want(t, 422, "a plan of a hundred years"); !strings.Contains(words(a.body), "40000 days is more than a hundred years") {
		t.Errorf("the fault is not shown: %.900s", words(a.body))
	}
	s.manager.form("/equipment/plans/class", with(plan, "every_days", "soon")).want(t, 422, "no number")
	s.manager.form("/equipment/plans/class", plan).want(t, 303, "a plan")
	neck := s.manager.make("/api/v1/labs/"+s.id.String()+"/items", lab.Item{Class: lab.ClassNeck, Serial: "N-1"})
	use := "/equipment/use/" + neck.String()
	has(use, "Plan of every Neck: every 90 days, after a system check that failed.", "due in ")
	has("/equipment/plans", "Neck Alder lab every 90 days, after a system check that failed · items that go by it: 1")
	// The plan as it stands is shown in the form, and another one replaces it.
	if body := s.manager.get("/equipment/plans?lab="+s.id.String()+"&class=neck").want(t, 200, "the form").body; !strings.Contains(body, `name="every_days" value="90"`) {
		t.Error("the form does not show the plan as it stands")
	}
	s.manager.form("/equipment/plans/class", url.Values{"lab": {s.id.String()}, "class": {"neck"}, "every_strokes": {"500"}, "warn_strokes": {"20"}}).want(t, 303, "another plan")
	has(use, "Plan of every Neck: every 500 strokes.")
	s.manager.form("/equipment/plans", url.Values{"item": {neck.String()}, "service_every_days": {"10"}}).want(t, 303, "a plan of its own")
	has(use, "Plan of its own: every 10 days.")
	has("/equipment/plans", "neck, N-1 neck · Alder lab every 10 days", "Neck Alder lab every 500 strokes · items that go by it: 0")
	s.manager.form("/equipment/plans", url.Values{"item": {neck.String()}, "service_every_days": {"10"}, "no_service_plan": {"yes"}}).want(t, 422, "a plan and none")
	s.manager.form("/equipment/plans", url.Values{"item": {neck.String()}, "no_service_plan": {"yes"}}).want(t, 303, "no plan")
	has(use, "No service plan holds for it.")
	s.manager.form("/equipment/plans", url.Values{"item": {neck.String()}}).want(t, 303, "none of its own")
	has(use, "Plan of every Neck")
	s.manager.form("/equipment/plans/class", url.Values{"lab": {s.id.String()}, "class": {"neck"}}).want(t, 303, "an empty plan")
	has(use, "No service plan holds for it.")
	has("/equipment/plans", "No kind of equipment has a plan.")
}

// A service with a date before a later one is recorded, and is not said to have
// set the counter; an empty server tells its administrator where to begin.
func TestServiceBeforeALaterOne(t *testing.T) {
	t.Parallel()
	w := start(t)
	if text := words(w.admin.get("/").want(t, 200, "overview").body); !strings.Contains(text, "There is no lab yet. Make one, or fetch one") {
		t.Errorf("the first screen of an empty server: %.900s", text)
	}
	if text := words(w.admin.get("/agents").want(t, 200, "agents").body); !strings.Contains(text, "An agent is enrolled into a lab, and there is no lab yet. Make the lab first") {
		t.Errorf("the agents of an empty server: %.900s", text)
	}
	s := w.open("Aspen", 1)
	if text := words(w.admin.get("/agents").want(t, 200, "agents").body); strings.Contains(text, "there is no lab yet") {
		t.Error("a server with a lab says that it has none")
	}
	ram := s.manager.make("/api/v1/labs/"+s.id.String()+"/items", map[string]any{"class": "ram", "serial": "R-LATE"})
	at := func(days int) string { return time.Now().AddDate(0, 0, -days).Format("2006-01-02T15:04:05") }
	service := func(days int) string {
		a := s.manager.form("/equipment/services", url.Values{"item": {ram.String()}, "effective_at": {at(days)}, "note": {"seals"}}).want(t, 303, "a service")
		return words(s.manager.get(a.header.Get("Location")).want(t, 200, "its outcome").body)
	}
	if text := service(10); !strings.Contains(text, "Strokes are counted from it.") {
		t.Errorf("the first service: %.900s", text)
	}
	if text := service(40); !strings.Contains(text, "A later one is on record, and strokes go on being counted from that") {
		t.Errorf("an earlier service: %.900s", text)
	}
}

package server_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// TestRatedPressureOnTheServer: on the page of a ram a manager enters what its
// rig's tank may hold; strokes above it are flagged from then on; and the page
// says which positions the rig is declared not to have.
func TestRatedPressureOnTheServer(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Elm", 1)
	ram, long := labtest.ID("elm ram"), time.Now().Add(-48*time.Hour)
	labtest.Append(t, s.agent.Ledger, s.id,
		labtest.Draft(t, ram, &lab.Item{Class: lab.ClassRam, Serial: "R-77"}),
		labtest.Draft(t, labtest.ID("elm gate"), &lab.Absent{Rig: s.Rig, Position: "light gate", Reason: "timed by hand", EffectiveAt: lab.At(long)}),
		labtest.Draft(t, labtest.ID("elm stroke"), labtest.Shot(s.Rig, time.Now().Add(-time.Hour), func(b *lab.Shot) { b.TankPressureKPaGauge = new(300.0) })))
	s.sync()
	path := "/equipment/use/" + ram.String()
	shows := func(p *person, want ...string) string {
		t.Helper()
		text := words(p.get(path).want(t, 200, "the ram").body)
		for _, x := range want {
			if !strings.Contains(text, x) {
				t.Errorf("the page lacks %q: %.2500s", x, text)
			}
		}
		return text
	}
	if text := shows(s.manager, "not mounted"); strings.Contains(text, "Maximum allowed tank pressure") {
		t.Error("an item that sits nowhere has the facts of a rig")
	}
	form := url.Values{"item": {ram.String()}, "unit": {"kPa"}, "most": {"250"}, "marked_on": {"plate of the vessel"}}
	s.manager.form("/equipment/rated", form).want(t, 422, "of an item that is not mounted")
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, labtest.ID("elm mounted"), &lab.Mounting{Rig: s.Rig, Position: "ram", Item: ram, EffectiveAt: lab.At(time.Now().Add(-time.Minute))}))
	s.sync()
	shows(s.manager, "not stated", "Enter what is marked", "light gate", "timed by hand")
	if text := shows(s.operator, "light gate"); strings.Contains(text, "Enter what is marked") {
		t.Error("an operator is offered the manager's form")
	}
	for field, bad := range map[string][2]string{"most": {"-3", "above zero"}, "marked_on": {"", "needed"}} {
		if a := s.manager.form("/equipment/rated", with(form, field, bad[0])).want(t, 422, field); !strings.Contains(words(a.body), bad[1]) {
			t.Errorf("%s %q is not answered with %q: %.1500s", field, bad[0], bad[1], words(a.body))
		}
	}
	s.operator.form("/equipment/rated", form).want(t, 403, "an operator")
	s.manager.form("/equipment/rated", with(form, "effective_at", long.Format("2006-01-02T15:04:05"))).want(t, 303, "recorded")
	shows(s.manager, "250", "marked on: plate of the vessel")
	if text := words(s.manager.get("/shots/" + labtest.ID("elm stroke").String()).body); !strings.Contains(text, "300.0 kPa gauge was stated, 250.0 kPa is the maximum allowed") {
		t.Errorf("the stroke above it: %.1800s", text)
	}
}

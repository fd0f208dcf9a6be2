package agent_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// TestReadyToShoot: what is missing is told, the operator goes on with a
// reason, and the shots carry it until something is mounted.
func TestReadyToShoot(t *testing.T) {
	r := start(t)
	r.page("/ready", "not ready", "position ram", "nothing is mounted", "system check", "none today", "not compared", "no server set", "clock")
	r.page("/next", "The rig is not ready: position ", "You can go on with a reason there", `href="/setup"`, "Set the rig up")
	if a := r.form("/ready/on", url.Values{"reason": {" "}}); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "This is needed.") {
		t.Errorf("going on without a reason = %d", a.status)
	}
	r.saved("/ready/on", url.Values{"reason": {"the register is still empty"}})
	r.page("/ready", "going on with a reason", "the register is still empty", "position ram: nothing is mounted")
	if strings.Contains(r.page("/next"), "The rig is not ready") {
		t.Error("Next says so although the operator goes on with a reason")
	}
	shot := func(peakG float64) string {
		t.Helper()
		a := r.post(part{"file", "a.csv", csv(peakG)})
		if a.status != http.StatusCreated {
			t.Fatalf("post = %d %s", a.status, a.body)
		}
		return a.json(t)["id"].(string)
	}
	r.page("/shots/"+shot(60), "went on overdue", "the register is still empty")

	r.saved("/rig/mount", url.Values{"position": {"ram"}, "item": {"new"}, "class": {"ram"}, "serial": {"R-9"}})
	if b := r.page("/ready", "not ready"); strings.Contains(b, "position ram: nothing") {
		t.Error("the ram is still missing")
	}
	if b := r.page("/shots/" + shot(61)); strings.Contains(b, "went on overdue") {
		t.Error("the reason outlives a change of the rig")
	}
}

package agent_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// A system check by the screens: confirmed with its pad, judged by the limits
// that a manager set, told on Ready, Next and Result, and good again.
func TestSystemCheck(t *testing.T) {
	r := start(t)
	r.page("/ready", "system check", "none today")
	r.page("/next", "System check: none today.")
	body := r.page("/check", "none today", "No system check has been fired here yet", "None are set", "licensed practice")
	v := fields(t, body, "/next/confirm")
	v.Set("pressure", "140")
	if a := r.form("/next/confirm", v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "Say by its serial number which pad is hit.") || !strings.Contains(a.body, "Do a system check") {
		t.Errorf("without a pad = %d", a.status)
	}
	fire := func(peakG float64) string {
		t.Helper()
		v := fields(t, r.page("/check"), "/next/confirm")
		v.Set("reference_pad", "P-1")
		v.Set("pressure", "140")
		r.send("/next/confirm", v, "/result")
		r.page("/check", "A shot is confirmed and waits for its file.")
		a := r.post(part{"file", "c.csv", csv(peakG)})
		if a.status != http.StatusCreated {
			t.Fatalf("post = %d %s", a.status, a.body)
		}
		return a.json(t)["id"].(string)
	}
	fire(60)
	r.page("/check", "fired today, not judged yet", "0 of the 10 good checks", "pad P-1", "nothing: 0 of 10 checks", `value="P-1"`)
	r.page("/ready", "fired today, not judged yet")
	r.page("/result", "System check: fired today, not judged yet.")

	r.plant(labtest.Draft(t, labtest.ID("limits"), &lab.CheckLimits{Rig: r.mounting().Rig, Pad: "p-1", EffectiveAt: lab.At(time.Now()),
		Limits: []lab.CheckLimit{{Result: lab.CheckPeak, Least: new(50.0), Most: new(70.0), Source: "the pad’s certificate"}}}))
	shot := r.post(part{"file", "s.csv", csv(61)}).json(t)["id"].(string)
	r.send("/shots/"+shot+"/assign", url.Values{"kind": {"shot"}, "specimen": {"FG-1"}, "location": {"front"}, "target_speed_m_s": {"5"}}, "/")
	fire(90)
	r.page("/check", "the last one failed", "above the limit of 70 g", "1 shot was fired; it carries the flag", "set limits", "the pad’s certificate", "<svg")
	r.page("/ready", "not ready", "the last one failed")
	r.page("/next", "System check: the last one failed.")
	r.page("/result", "System check: the last one failed.")
	r.page("/shots/"+shot, "check failed")
	fire(62)
	r.page("/check", "fired today, good")
	r.page("/result", `class="notice ok"`, "System check: fired today, good.")
	fire(91)
	if b := r.page("/result", "no shot was fired, so none carries the flag"); strings.Contains(b, `class="notice ok"`) {
		t.Error("a check that failed has the box of a good one")
	}
	fire(63)
	if b := r.page("/next"); strings.Contains(b, "System check: the last one failed.") {
		t.Error("a good check does not end the notice")
	}

	// Another head form: said before it is fired, and a series of its own.
	r.saved("/rig/mount", url.Values{"position": {"head form"}, "item": {"new"}, "class": {"head form"}, "serial": {"HF-2"}})
	r.page("/check", "The next check on this pad begins a new series", "HF-2, before: none recorded", "look at what is mounted")
	const advised = "a check before the next campaign shot is advised"
	r.page("/ready", advised, "head form, HF-2 mounted at position head form on ", "; the last system check was ")
	if b := r.page("/next"); strings.Contains(b, advised) {
		t.Error("the advice stands in the way of a shot")
	}
	fire(66)
	r.page("/check", "A new series began", "HF-2, before: none recorded", "first of the series", "Checks with another setup are not compared")
	old := regexp.MustCompile(`<option value="([0-9a-f]{12})">head form: none recorded`).FindStringSubmatch(r.page("/check"))
	if old == nil {
		t.Fatal("the earlier series is not offered")
	}
	if b := r.page("/check?series="+old[1], "the pad’s certificate"); strings.Contains(b, "A new series began") || !strings.Contains(b, "above the limit of 70 g") {
		t.Error("the earlier series is not shown")
	}

	r.plant(r.mounted()...) // a ram, since yesterday: before the check, and no head form
	if b := r.page("/ready"); strings.Contains(b, advised) {
		t.Error("the check does not end the advice")
	}
	r.plant(labtest.Draft(t, labtest.ID("sv"), &lab.Service{Item: labtest.ID("ram"), EffectiveAt: lab.At(time.Now()), Note: "new seals"}))
	r.page("/ready", advised, "service of Ram, R-7 on ")
	fire(67)
	if b := r.page("/ready"); strings.Contains(b, advised) {
		t.Error("the check after the service does not end the advice")
	}
}

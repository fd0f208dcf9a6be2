package server_test

import (
	"encoding/json"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/view"
)

// A manager sets limits on the screen of a rig's checks; screen and API show
// them, and people of another lab see neither.
func TestCheckLimits(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Ivy", 3), w.open("Oak", 3)
	if b := s.manager.get("/checks").body; !strings.Contains(b, "none today") || !strings.Contains(b, "None are set") {
		t.Errorf("without limits:\n%s", b)
	}
	s.manager.form("/checks/limits", url.Values{"rig": {s.Rig.String()}, "pad": {"P-1"}, "peak_most": {"110"}, "source": {"certificate 31-7"}, "effective_at": {time.Now().Add(-time.Hour).Format("2006-01-02T15:04:05")}})
	body := s.manager.get("/checks?pad=p-1&rig=" + s.Rig.String()).body
	for _, want := range []string{"110.0", "certificate 31-7", "History on pad p-1"} {
		if !strings.Contains(body, want) {
			t.Errorf("the screen lacks %q", want)
		}
	}
	unknown := url.Values{"rig": {"01a20000-0000-7000-8000-000000000000"}, "pad": {"P-1"}, "effective_at": {time.Now().Add(-time.Hour).Format("2006-01-02T15:04:05")}}
	if a := s.manager.form("/checks/limits", unknown); a.status != 422 || !strings.Contains(a.body, "There is no such rig.") {
		t.Errorf("a rig that is not there = %d", a.status)
	}
	if a := s.manager.form("/checks/limits", url.Values{"rig": {s.Rig.String()}, "pad": {"P-1"}, "setup": {"0123456789ab"}, "peak_most": {"110"}, "effective_at": {time.Now().Add(-time.Hour).Format("2006-01-02T15:04:05")}}); a.status != 422 || !strings.Contains(a.body, "No check on this pad was fired with it.") {
		t.Errorf("a setup that no check has = %d", a.status)
	}
	base := "/api/v1/labs/" + s.id.String()
	set := into[[]lab.CheckLimits](t, s.manager.get(base+"/check-limits"))
	if len(set) != 1 || set[0].Pad != "P-1" || len(set[0].Limits) != 1 || *set[0].Limits[0].Most != 110 {
		t.Errorf("the API gives %+v", set)
	}
	if a := s.manager.get(base + "/rigs/" + s.Rig.String() + "/checks"); a.status != 200 || !json.Valid([]byte(a.body)) {
		t.Errorf("checks of the rig = %d %s", a.status, a.body)
	} else if rows := into[[]struct{ State view.CheckState }](t, a); len(rows) != 0 {
		t.Errorf("%d checks of a rig that was never checked", len(rows))
	}
	for _, path := range []string{"/checks?rig=" + s.Rig.String(), base + "/rigs/" + s.Rig.String() + "/checks", base + "/check-limits"} {
		if a := other.manager.get(path); a.status != 404 {
			t.Errorf("another lab's manager gets %s = %d", path, a.status)
		}
	}
}

// Limits that are set for the setup of a series hold for that one alone, and the
// screen says so.
func TestCheckLimitsOfASetup(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Ivy", 1)
	at := time.Now().Add(-30 * time.Minute)
	for i, speed := range []float64{5.5, 7.4} {
		id := labtest.ID("check", i)
		labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, labtest.Shot(s.Rig, at.Add(time.Duration(i)*time.Minute), func(b *lab.Shot) {
			b.Kind, b.Specimen, b.Location, b.ReferencePad, b.TargetSpeedMS = lab.ShotSystemCheck, "", "", "P-1", &speed
		})), labtest.Draft(t, id, labtest.Score(id, speed)))
	}
	s.sync()
	path := "/checks?pad=P-1&rig=" + s.Rig.String()
	setup := regexp.MustCompile(`(?s)name="setup".*?<option value="([0-9a-f]+)" selected`).FindStringSubmatch(s.manager.get(path).body)
	if setup == nil {
		t.Fatal("the setup of the series that is shown is not chosen")
	}
	s.manager.form("/checks/limits", url.Values{"rig": {s.Rig.String()}, "pad": {"P-1"}, "setup": {setup[1]}, "peak_most": {"1"}, "effective_at": {at.Add(-time.Hour).Format("2006-01-02T15:04:05")}}).want(t, 303, "set")
	set := into[[]lab.CheckLimits](t, s.manager.get("/api/v1/labs/"+s.id.String()+"/check-limits"))
	if len(set) != 1 || set[0].Setup == nil || set[0].Setup.TargetSpeedMS == nil || *set[0].Setup.TargetSpeedMS != 7.4 {
		t.Errorf("the API gives %+v", set)
	}
	if text := words(s.manager.get(path).body); !strings.Contains(text, "this setup") || !strings.Contains(text, "the last one failed") {
		t.Errorf("of the setup: %.2000s", text)
	}
	rows := into[[]struct{ State view.CheckState }](t, s.manager.get("/api/v1/labs/"+s.id.String()+"/rigs/"+s.Rig.String()+"/checks"))
	if len(rows) != 2 || rows[0].State != view.CheckFailed || rows[1].State != view.CheckUndecided {
		t.Errorf("the checks came to %+v", rows)
	}
}

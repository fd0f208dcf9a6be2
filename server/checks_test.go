package server_test

import (
	"encoding/json"
	"net/url"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
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

package agent_test

import (
	"net/http"
	"strings"
	"testing"
)

// An acceptance is of the result that was looked at: one that comes after it is to be
// accepted anew. An old page does not make void what was accepted meanwhile.
func TestAcceptanceIsOfOneResult(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText[:strings.LastIndex(mapText, "[[channel]]")]) // no light gate
	r.plant(campaign(t))
	v := fields(t, r.page("/next"), "/next/confirm")
	v.Set("pressure", "141")
	v.Set("speed_m_s", "5.05")
	r.send("/next/confirm", v, "/result")
	r.write("a.csv", csv(93))
	r.fileCame()
	shot := "/shots/" + r.shots(1)["a.csv"]
	oldResult, oldShot := fields(t, r.page("/result"), "/result/void"), fields(t, r.page(shot), shot+"/void")
	accept := fields(t, r.page("/result"), "/result/accept")
	r.send("/result/accept", accept, "/next")
	for action, form := range map[string]map[string][]string{"/result/void": oldResult, shot + "/void": oldShot} {
		form["reason"] = []string{"strap"}
		if a := r.form(action, form); a.status != http.StatusConflict || !strings.Contains(a.body, "was accepted while the page was open") {
			t.Errorf("%s from an old page = %d", action, a.status)
		}
	}
	if b := r.page(shot, "Accepted at the rig at ", "Result accepted"); strings.Contains(b, `action="/result/accept"`) {
		t.Error("an accepted shot can be accepted")
	}
	r.page("/day", "accepted")

	v = fields(t, r.page(shot), shot+"/correct")
	v.Set("kind", "shot")
	v.Set("speed_m_s", "4.96")
	r.send(shot+"/correct", v, shot)
	again := fields(t, r.page(shot, ", before it was computed again", "4.96"), "/result/accept")
	r.page("/day", "accepted, computed again since")
	r.page("/result", "Accept, and next")
	r.send("/result/accept", again, shot)
	if b := r.page(shot); strings.Contains(b, "before it was computed again") || strings.Count(b, "Result accepted") != 2 {
		t.Error("the second acceptance does not stand")
	}
	v = fields(t, r.page(shot), shot+"/void")
	v.Set("reason", "the strap came loose")
	r.send(shot+"/void", v, shot)
	r.page(shot, "; made void")
}

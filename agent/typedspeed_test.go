package agent_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"
)

// A typed speed that was wrong is asked about once, can be corrected, and is then
// gone from results, list and judgement.
func TestTypedSpeedIsCorrected(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText[:strings.LastIndex(mapText, "[[channel]]")]) // no light gate
	r.plant(campaign(t))
	v := fields(t, r.page("/next"), "/next/confirm")
	v.Set("pressure", "141")
	v.Set("speed_m_s", "50.2")
	far := "50.2 m/s is far from the target, 5 m/s"
	if a := r.form("/next/confirm", v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, far) || !strings.Contains(a.body, "It is meant so; record it") {
		t.Fatalf("a speed far off = %d\n%s", a.status, a.body)
	}
	v.Set("meant_so", "yes")
	r.send("/next/confirm", v, "/result")
	r.write("a.csv", csv(93))
	r.fileCame()
	id := r.shots(1)["a.csv"]
	r.page("/shots", "50.2")
	page := r.page("/shots/"+id, `value="50.2"`, "Ram energy")
	path := "/shots/" + id + "/correct"
	v = fields(t, page, path)
	v.Set("kind", "shot")
	for name, bad := range map[string]string{"speed_m_s": "500", "ambient_c": "220", "relative_humidity_percent": "130"} {
		w := url.Values{"kind": {"shot"}, name: {bad}}
		if a := r.form(path, w); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "check the number and its unit.") {
			t.Errorf("%s %s = %d", name, bad, a.status)
		}
	}
	v.Set("speed_m_s", "52")
	if a := r.form(path, v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "52 m/s is far from the target") || !strings.Contains(a.body, `name="meant_so"`) {
		t.Errorf("corrected to a speed far off = %d", a.status)
	}
	v.Set("speed_m_s", "5,02")
	v.Set("ambient_c", "21.5")
	v.Set("relative_humidity_percent", "43")
	r.send(path, v, "/shots/"+id)
	got := r.get("/api/v1/shots/" + id).json(t)
	if e := got["results"].(map[string]any)["impact_speed"].(map[string]any)["value"]; e != 5.02 {
		t.Errorf("impact speed = %v", e)
	}
	meta := got["meta"].(map[string]any)
	if meta["ambient_c"] != 21.5 || meta["relative_humidity_percent"] != 43.0 || meta["tank_pressure_kpa_gauge"] != 141.0 {
		t.Errorf("meta %v", meta)
	}
	r.page("/shots/"+id, "stated, not measured", "5.02", "189") // ½ · 15 kg · (5.02 m/s)²
	r.page("/result", "5.02 m/s, within ±0.10 m/s")
	if strings.Contains(r.page("/shots", "5.02"), "50.2") {
		t.Error("the wrong speed still stands in the list")
	}
	r.page("/next", "1</span> done")
}

// The operator of a file is proposed as who was signed in when it came, and is not
// called typed where nobody typed it; a specimen that had failed is asked about.
func TestAssignProposesWhoWasThere(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	add := func(name, pin string) string {
		r.saved("/people/add", url.Values{"name": {name}, "pin": {pin}})
		return regexp.MustCompile(`href="(/people/[0-9a-f-]{36})"[^>]*>` + name).FindStringSubmatch(r.page("/people"))[1]
	}
	r.write("nobody.csv", csv(70))
	none := r.shots(1)["nobody.csv"]
	add("Wilma Quill", "4711")
	ann := add("Ann Brook", "5508")
	r.write("a.csv", csv(80))
	id := r.shots(2)["a.csv"]
	failed := r.hit("FG-09", 90)
	r.send("/shots/"+failed+"/inspect", url.Values{"inspection": {uuid.NewString()}, "effective_at": {seenNow()}, "bar_grade": {"damaged"}, "bar_mm": {"4"}, "verdict": {"failed"}, "reason": {"bar bent"}}, "/")
	r.send(ann, url.Values{"pin": {"5508"}}, "/")
	if v := fields(t, r.page("/shots/"+none), "/shots/"+none+"/assign"); v.Get("operator") != "" {
		t.Errorf("the operator of a file that came with nobody there is %q", v.Get("operator"))
	}
	v := fields(t, r.page("/shots/"+id), "/shots/"+id+"/assign")
	if v.Get("operator") != "Wilma Quill" {
		t.Errorf("the operator is proposed as %q", v.Get("operator"))
	}
	for name, text := range map[string]string{"kind": "shot", "specimen": "FG-01", "location": "front", "target_speed_m_s": "5"} {
		v.Set(name, text)
	}
	r.send("/shots/"+id+"/assign", v, "/shots/")
	page := r.page("/shots/"+id, "Wilma Quill")
	row := page[strings.Index(page, "<dt>Operator</dt>"):]
	if row = row[:strings.Index(row, "</div>")]; strings.Contains(row, "typed") || !strings.Contains(row, "Wilma Quill") {
		t.Errorf("the operator nobody typed: %s", row)
	}

	r.write("late.csv", csv(85))
	late := "/shots/" + r.shots(4)["late.csv"] + "/assign"
	v = url.Values{"kind": {"shot"}, "specimen": {"fg-09"}, "location": {"front"}, "target_speed_m_s": {"5"}}
	if a := r.form(late, v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "fg-09 failed its inspection: bar bent") || !strings.Contains(a.body, `name="meant_so"`) {
		t.Fatalf("a specimen that failed = %d\n%s", a.status, a.body)
	}
	v.Set("meant_so", "yes")
	r.send(late, v, "/shots/")
}

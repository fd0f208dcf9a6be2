package agent_test

import (
	"strings"
	"testing"
)

// slowWriter: a file that grows after it became the confirmed shot is that shot
// when a person says so, with all that was typed, and the ram moved once.
func slowWriter(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText[:strings.LastIndex(mapText, "[[channel]]")]) // no light gate
	r.write("first.csv", csv(60))
	r.shots(1)
	r.plant(append(r.mounted(), campaign(t))...)
	r.saved("/people/add", map[string][]string{"name": {"Wilma Quill"}, "pin": {"4711"}})
	v := fields(t, r.page("/next"), "/next/confirm")
	for name, text := range map[string]string{"pressure": "141", "speed_m_s": "5.02", "ambient_c": "21.5", "relative_humidity_percent": "43"} {
		v.Set(name, text)
	}
	r.send("/next/confirm", v, "/result")
	whole := csv(93)
	lines := strings.SplitAfter(whole, "\n")
	r.write("a.csv", strings.Join(lines[:len(lines)/2], ""))
	r.fileCame()
	part := fields(t, r.page("/result", "FG-01, front"), "/result/void").Get("shot")
	r.write("a.csv", whole)
	r.until("it is asked", func() bool { return strings.Contains(r.get("/result").body, "The same stroke: this whole file counts") })
	r.page("/assign", "a.csv", "The same stroke: this whole file counts", "/shots/"+part)
	r.page("/strokes", "3 strokes of 500")
	body := r.page("/result", "FG-01, front", "/shots/"+part)
	if strings.Contains(body, `action="/result/second"`) {
		t.Error("two questions are asked at once")
	}
	said := fields(t, body, "/result/whole")
	for range 2 { // tapped twice by mistake
		r.send("/result/whole", said, "/result")
	}
	r.page("/strokes", "2 strokes of 500")
	r.page("/result", "FG-01, front", "5.02 m/s, within ±0.10 m/s", "Accept, and next")
	r.page("/next", "FG-01, side", "1</span> done")
	if strings.Contains(r.page("/assign"), "a.csv") {
		t.Error("it still waits to be assigned")
	}
	got := r.get("/api/v1/shots/" + said.Get("shot")).json(t)
	meta := got["meta"].(map[string]any)
	for name, want := range map[string]any{"specimen": "FG-01", "condition": "cold", "target_speed_m_s": 5.0, "tank_pressure_kpa_gauge": 141.0,
		"speed_m_s": 5.02, "ambient_c": 21.5, "relative_humidity_percent": 43.0} {
		if meta[name] != want {
			t.Errorf("%s = %v, want %v", name, meta[name], want)
		}
	}
	page := r.page("/shots/"+said.Get("shot"), "Wilma Quill", "stated, not measured")
	for label, typed := range map[string]bool{"Ambient temperature": true, "Speed measured elsewhere": true, "Specimen": false, "Operator": false} {
		at := page[strings.Index(page, "<dt>"+label+"</dt>"):]
		if got := strings.Contains(at[:strings.Index(at, "</div>")], "typed"); got != typed {
			t.Errorf("%s is marked as typed: %v", label, got)
		}
	}
	r.page("/shots/"+part, "second file of a stroke")
}

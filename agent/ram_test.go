package agent_test

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger"
)

// mounted are a ram in the register, put at the agent's rig yesterday.
func (r *running) mounted() []ledger.Draft {
	ram, m := labtest.ID("ram"), r.mounting()
	return []ledger.Draft{labtest.Draft(r.t, ram, &lab.Item{Class: lab.ClassRam, Serial: "R-7", Name: "Ram", ServiceEveryStrokes: 500}), labtest.Draft(r.t, labtest.ID("m"), m)}
}

// mounting is that of a ram at the rig of the shots that are recorded.
func (r *running) mounting() *lab.Mounting {
	shots := r.get("/api/v1/shots").json(r.t)["shots"].([]any)
	rig := shots[0].(map[string]any)["rig"].(string)
	m := &lab.Mounting{Position: "ram", Item: labtest.ID("ram"), EffectiveAt: lab.At(time.Now().Add(-24 * time.Hour))}
	if err := m.Rig.UnmarshalText([]byte(rig)); err != nil {
		r.t.Fatal(err)
	}
	return m
}

func TestStrokesWithoutAFile(t *testing.T) {
	r := start(t)
	r.page("/strokes", "none is mounted", "No stroke without a file has been entered")
	if a := r.post(part{"file", "a.csv", csv(60)}); a.status != http.StatusCreated {
		t.Fatalf("post = %d", a.status)
	}
	r.plant(r.mounted()...)
	v := fields(t, r.page("/strokes", "1 stroke of 500"), "/strokes")
	v.Set("number", "3")
	v.Set("pressure", "120")
	for range 2 { // tapped twice by mistake
		r.send("/strokes", v, "/strokes")
	}
	r.page("/strokes", "4 strokes of 500", "3 dry strokes", "120.0")
	v = fields(t, r.page("/strokes"), "/strokes")
	v.Set("number", "2.5")
	if a := r.form("/strokes", v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "no whole number") {
		t.Errorf("two and a half strokes = %d", a.status)
	}
	read := func(counter, reason string) answer {
		v := fields(t, r.page("/strokes"), "/strokes/counter")
		v.Set("counter", counter)
		v.Set("reason", reason)
		return r.form("/strokes/counter", v)
	}
	if a := read("1000", ""); a.status != http.StatusSeeOther {
		t.Fatalf("first reading = %d", a.status)
	}
	if a := read("1006", ""); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "6 are unaccounted. Say why.") {
		t.Errorf("strokes that nobody recorded, without a reason = %d", a.status)
	}
	if a := read("1006", "tried the valve"); a.status != http.StatusSeeOther {
		t.Errorf("second reading = %d", a.status)
	}
	body := r.page("/strokes", "10 strokes of 500", "6 unaccounted", "tried the valve")
	if a := read("12", ""); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "went back from 1006") {
		t.Errorf("a counter that went back = %d", a.status)
	}
	r.send("/strokes/withdraw", fields(t, body, "/strokes/withdraw"), "/strokes") // the newest reading
	r.page("/strokes", "4 strokes of 500")
	if a := r.form("/strokes/withdraw", url.Values{"doc": {labtest.ID("ram").String()}, "kind": {"item"}}); a.status != http.StatusUnprocessableEntity {
		t.Errorf("a ram taken back as if it were strokes = %d", a.status)
	}
}

var tags = regexp.MustCompile(`<[^>]*>`)

// Real files of a ram that loses speed: the proposal, the charts, and the words.
func TestDriftOnScreen(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.page("/drift", "nothing to fit yet")
	for i := range 40 {
		kpa := 120 + 10*float64(i%3)
		speed := math.Sqrt(-4+0.23*kpa) - 0.008*float64(max(0, i-20)) + 0.004*math.Sin(float64(5*i))
		meta := fmt.Sprintf(`{"specimen":"FG-09","location":"front","target_speed_m_s":5.2,"tank_pressure_kpa_gauge":%g,"speed_m_s":%.5f}`, kpa, speed)
		text := strings.Replace(csv(60+float64(i)), ",gate", ",other", 1)
		if a := r.post(part{"file", fmt.Sprintf("s%d.csv", i), text}, part{field: "meta", text: meta}); a.status != http.StatusCreated {
			t.Fatalf("post = %d %s", a.status, a.body)
		}
	}
	r.plant(append(r.mounted(), campaign(t))...)
	r.page("/drift", "Ram, R-7", "40 shots", "has become slower at a given pressure", "The ram loses speed", "leaves 5.00 ± 0.10 m/s after about", "Cumulative sums", "<svg")
	r.page("/next", "FG-01, front, cold", "From 40 shots since the last service", "Observed on this ram: 120.0 to 140.0 kPa", "95&nbsp;%")

	// What was typed far above all of them is asked about, and a fault stands at its own field.
	v := fields(t, r.page("/next"), "/next/confirm")
	v.Set("pressure", "9999")
	if a := r.form("/next/confirm", v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "9999.0 kPa is far above what was observed on this ram since its last two services, at most 140.0 kPa") || !strings.Contains(a.body, `name="above_rated"`) {
		t.Errorf("9999 kPa = %d %.2000s", a.status, a.body)
	}
	v.Set("pressure", "130")
	v.Set("relative_humidity_percent", "140")
	if a := r.form("/next/confirm", v); a.status != http.StatusUnprocessableEntity || !regexp.MustCompile(`(?i)humidity[^.]*■ 140 is outside 0 to 100`).MatchString(tags.ReplaceAllString(a.body, "")) {
		t.Errorf("140 %% humidity = %d %.2000s", a.status, a.body)
	}
	v.Set("relative_humidity_percent", "40")
	free := url.Values{"key": {uuid.NewString()}, "kind": {"shot"}, "specimen": {"Z-1"}, "location": {"front"}, "pressure": {"130"}, "target_speed_m_s": {"55"}}
	if a := r.form("/next/confirm", free); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "55 m/s is far above what was observed on this ram") {
		t.Errorf("a free shot at 55 m/s = %d %s", a.status, a.body)
	}
	if a := r.form("/next/confirm", v); a.status != http.StatusSeeOther {
		t.Errorf("a usual pressure = %d", a.status)
	}
}

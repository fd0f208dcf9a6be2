package agent_test

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// A position that the rig does not have is missed no more, with the reason;
// that is taken back, and does not stand beside something that is mounted there.
func TestPositionsThatARigDoesNotHave(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	nags := func() bool { return strings.Contains(r.page("/ready"), "position gate") }
	if !nags() {
		t.Fatal("the missing light gate is not named")
	}
	r.page("/rig", "This rig has no gate")
	say := url.Values{"position": {"Gate"}, "reason": {""}}
	if a := r.form("/rig/absent", say); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "This is needed.") {
		t.Errorf("without a reason = %d", a.status)
	}
	say.Set("reason", "the speed is typed from a timer")
	r.saved("/rig/absent", say)
	if nags() {
		t.Error("it is still missed")
	}
	body := r.page("/rig", "this rig has none", "the speed is typed from a timer", "Position gate is there after all")
	r.page("/ready", "position ram") // the others still are
	back := fields(t, body, "/rig/present")
	back.Set("reason", "one was built in")
	r.saved("/rig/present", back)
	if !nags() {
		t.Error("taken back, it is not missed again")
	}
	back.Del("key")
	if a := r.form("/rig/present", back); a.status != http.StatusNotFound && a.status != http.StatusUnprocessableEntity {
		t.Errorf("taken back twice = %d", a.status)
	}
	r.saved("/rig/absent", say)
	r.saved("/rig/mount", url.Values{"position": {"gate"}, "item": {"new"}, "class": {"light gate"}, "serial": {"G-4"}})
	if b := r.page("/rig", "G-4"); strings.Contains(b, "this rig has none") {
		t.Error("what is mounted is called not there")
	}
	if a := r.form("/rig/absent", say); a.status != http.StatusConflict || !strings.Contains(a.body, "Take it off first") {
		t.Errorf("absent although something is mounted = %d", a.status)
	}
}

// The maximum allowed pressure of the tank: nothing above it is proposed or
// offered, and what is typed above it is called out and flagged.
func TestMaximumAllowedPressure(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	for i := range 20 {
		kpa := 120 + 10*float64(i%3)
		meta := fmt.Sprintf(`{"specimen":"FG-09","location":"front","target_speed_m_s":5.2,"tank_pressure_kpa_gauge":%g,"speed_m_s":%.5f}`, kpa, math.Sqrt(-4+0.23*kpa)+0.004*math.Sin(float64(5*i)))
		if a := r.post(part{"file", fmt.Sprintf("s%d.csv", i), strings.Replace(csv(60+float64(i)), ",gate", ",other", 1)}, part{field: "meta", text: meta}); a.status != http.StatusCreated {
			t.Fatalf("post = %d %s", a.status, a.body)
		}
	}
	r.plant(append(r.mounted(), campaign(t))...)
	r.page("/next", "From 20 shots", "is not stated")
	if b := r.page("/next"); strings.Contains(b, "No pressure is proposed") {
		t.Fatal("nothing is proposed before a limit is stated")
	}
	r.page("/ready", "maximum allowed tank pressure", "not stated")
	for _, bad := range []url.Values{{"most": {"lots"}, "marked_on": {"plate"}}, {"most": {"-3"}, "marked_on": {"plate"}}, {"most": {"125"}, "marked_on": {""}}, {"most": {"99999"}, "marked_on": {"plate"}}} {
		if a := r.form("/rig/rated", bad); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, `value="`+bad.Get("most")+`"`) {
			t.Errorf("%v = %d", bad, a.status)
		}
	}
	// 5 m/s takes (25 + 4) / 0.23 = 126.1 kPa on this ram.
	r.saved("/rig/rated", url.Values{"most": {"125"}, "marked_on": {"relief valve, no. 7"}})
	r.page("/rig", "125.0", "relief valve, no. 7")
	r.page("/ready", "125.0", "relief valve, no. 7")
	next := r.page("/next", "No pressure is proposed", "above the maximum allowed pressure of the rig", "Maximum allowed tank pressure of this rig")
	if strings.Contains(next, "126.") {
		t.Error("a pressure above the maximum is named")
	}
	v := fields(t, next, "/next/confirm")
	if p := v.Get("pressure"); p != "" {
		t.Errorf("the form offers %q", p)
	}
	for _, f := range regexp.MustCompile(`name="pressure"[^>]*value="([0-9.]+)"`).FindAllStringSubmatch(next, -1) {
		if kpa, err := strconv.ParseFloat(f[1], 64); err != nil || kpa > 125 {
			t.Errorf("a form offers %s kPa", f[1])
		}
	}
	v.Set("pressure", "130")
	a := r.form("/next/confirm", v)
	for _, w := range []string{"130.0 kPa is above the maximum allowed pressure of this rig, 125.0 kPa gauge", "Do not fire at it", "vent the tank to zero", "licensed practice", `name="above_rated"`, `value="130"`} {
		if !strings.Contains(a.body, w) {
			t.Errorf("a pressure above the maximum = %d; it does not say %q", a.status, w)
		}
	}
	if a.status != http.StatusUnprocessableEntity {
		t.Errorf("a pressure above the maximum = %d", a.status)
	}
	if strings.Contains(r.page("/next"), `name="above_rated"`) {
		t.Error("the tick is offered before such a pressure is typed")
	}
	fire := func(pressure, tick string, peakG float64) string {
		t.Helper()
		v := fields(t, r.page("/next"), "/next/confirm")
		v.Set("pressure", pressure)
		if tick != "" {
			v.Set("above_rated", tick)
		}
		r.send("/next/confirm", v, "/result")
		a := r.post(part{"file", "x.csv", csv(peakG)}, part{"map", "m.toml", mapText})
		if a.status != http.StatusCreated {
			t.Fatalf("post = %d %s", a.status, a.body)
		}
		return a.json(t)["id"].(string)
	}
	r.page("/shots/"+fire("130", "yes", 81), "above rated pressure", "130.0 kPa gauge was stated, 125.0 kPa is the maximum allowed")
	if b := r.page("/shots/" + fire("125", "", 82)); strings.Contains(b, "above rated pressure") {
		t.Error("a shot at the maximum is flagged")
	}
	d := fields(t, r.page("/strokes"), "/strokes")
	d.Set("pressure", "126")
	if a := r.form("/strokes", d); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "Do not fire at it") || !strings.Contains(a.body, `name="above_rated"`) {
		t.Errorf("dry strokes above the maximum = %d", a.status)
	}
	d.Set("above_rated", "yes")
	r.send("/strokes", d, "/strokes")

	w := fields(t, r.page("/rig"), "/rig/notrated")
	w.Set("reason", "of another vessel")
	r.saved("/rig/notrated", w)
	r.page("/ready", "not stated")
	if b := r.page("/next"); strings.Contains(b, "above the maximum allowed") {
		t.Error("withdrawn, it still holds")
	}
}

package agent_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"
)

// at is a time as the browser's field sends it.
func at(t time.Time) string { return t.Local().Format("2006-01-02T15:04:05") }

// saved sends a form that must be accepted.
func (r *running) saved(path string, v url.Values) {
	r.t.Helper()
	if a := r.form(path, v); a.status != http.StatusSeeOther {
		r.t.Fatalf("POST %s %v = %d %s", path, v, a.status, regexp.MustCompile(`class="error"[^<]*`).FindAllString(a.body, -1))
	}
}

// TestRigSetUp mounts, moves, takes off and withdraws at the rig, without a server.
func TestRigSetUp(t *testing.T) {
	r := start(t)
	r.page("/rig", "There is no channel map", "missing", "Nothing has been mounted yet")
	r.write("map.toml", mapText)
	r.page("/rig", "map.toml", "linear acceleration, x, g")
	t0 := time.Now().Add(-3 * time.Hour).Truncate(time.Second)

	sensor := url.Values{"position": {"ax"}, "item": {"new"}, "class": {"sensor"}, "serial": {"S-77"}, "calibration_required": {""}, "effective_at": {at(t0)}, "key": {"once"}}
	for range 2 { // pressed twice
		r.saved("/rig/mount", sensor)
	}
	page := r.page("/rig", "sensor, S-77", "no calibration recorded", at(t0)[11:])
	if n := strings.Count(page, "sensor, S-77 mounted"); n != 1 {
		t.Errorf("%d entries of one mounting", n)
	}
	id := regexp.MustCompile(`<option value="([0-9a-f-]{36})">sensor, S-77`).FindStringSubmatch(page)[1]

	// The same serial again is refused, and so is a second place, each with the reason.
	if a := r.form("/rig/mount", url.Values{"position": {"ay"}, "item": {"new"}, "class": {"sensor"}, "serial": {"s-77"}}); a.status != http.StatusConflict || !strings.Contains(a.body, "with this serial number already") {
		t.Errorf("the same serial number twice = %d", a.status)
	}
	second := url.Values{"position": {"ay"}, "item": {id}}
	if a := r.form("/rig/mount", second); a.status != http.StatusConflict || !strings.Contains(a.body, "sits at rig nine, position ax") {
		t.Errorf("a second place = %d", a.status)
	}
	if a := r.form("/rig/mount", url.Values{"position": {"ay"}, "item": {id}, "effective_at": {at(time.Now().Add(time.Hour))}}); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "lies in the future") {
		t.Errorf("a mounting in the future = %d", a.status)
	}
	// Moved an hour ago, which the operator confirms.
	second.Set("confirmed", "yes")
	second.Set("effective_at", at(t0.Add(2*time.Hour)))
	r.saved("/rig/mount", second)
	row := func(position string) string {
		b := r.page("/rig")
		b = b[strings.Index(b, `<th scope="row">`+position+"</th>"):]
		return b[:strings.Index(b, "</tr>")]
	}
	if s := row("ax"); !strings.Contains(s, "missing") {
		t.Errorf("ax after the move: %s", s)
	}
	if s := row("ay"); !strings.Contains(s, "S-77") {
		t.Errorf("ay after the move: %s", s)
	}

	// A certificate at the rig ends the complaint.
	r.saved("/rig/calibration", url.Values{"item": {id}, "effective_at": {"2026-01-10"}, "due_at": {"2099-01-10"}, "certificate": {"C-1"}})
	if s := row("ay"); !strings.Contains(s, "in calibration") {
		t.Errorf("ay with its certificate: %s", s)
	}

	// The move never happened: withdrawn with a reason, the sensor is back at ax.
	entry := regexp.MustCompile(`name="id" value="([0-9a-f-]{36})"`).FindStringSubmatch(r.page("/rig"))[1] // newest first
	if a := r.form("/rig/mistaken", url.Values{"id": {entry}, "reason": {""}}); a.status != http.StatusUnprocessableEntity {
		t.Errorf("withdrawn without a reason = %d", a.status)
	}
	r.saved("/rig/mistaken", url.Values{"id": {entry}, "reason": {"it was S-78"}})
	if s := row("ax"); !strings.Contains(s, "S-77") {
		t.Errorf("ax after the withdrawal: %s", s)
	}
	r.saved("/rig/unmount", url.Values{"position": {"ax"}})
	if s := row("ax"); !strings.Contains(s, "missing") {
		t.Errorf("ax when it was taken off: %s", s)
	}
	if a := r.get("/rig?position=ay"); !strings.Contains(a.body, `name="position" value="ay"`) {
		t.Error("the form does not take the position of the link")
	}
}

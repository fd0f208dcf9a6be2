package agent_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"
)

// One triaxial accelerometer, one serial number, is mounted at its three positions by
// the form, and comes off one of them or all.
func TestOneCaseWithThreeAxes(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	t0 := time.Now().Add(-3 * time.Hour).Truncate(time.Second)
	r.saved("/rig/mount", url.Values{"position": {"ax"}, "item": {"new"}, "class": {"sensor"}, "serial": {"TX-1"}, "calibration_required": {"yes"}, "effective_at": {at(t0)}})
	id := regexp.MustCompile(`<option value="([0-9a-f-]{36})">sensor, TX-1`).FindStringSubmatch(r.page("/rig"))[1]
	next := url.Values{"position": {"ay"}, "item": {id}, "effective_at": {at(t0)}}
	if a := r.form("/rig/mount", next); a.status != http.StatusConflict {
		t.Errorf("two places at one time without a word = %d", a.status)
	}
	next.Set("effective_at", at(t0.Add(time.Minute)))
	if a := r.form("/rig/mount", next); a.status != http.StatusConflict || !strings.Contains(a.body, "another axis of the same case") {
		t.Errorf("a second position = %d, and does not say how", a.status)
	}
	next.Set("effective_at", at(t0))
	next.Set("also", "yes")
	for _, position := range []string{"ay", "az"} {
		next.Set("position", position)
		r.saved("/rig/mount", next)
	}
	row := func(position string) string {
		b := r.page("/rig")
		b = b[strings.Index(b, `<th scope="row">`+position+"</th>"):]
		return b[:strings.Index(b, "</tr>")]
	}
	for _, position := range []string{"ax", "ay", "az"} {
		if s := row(position); !strings.Contains(s, "TX-1") || !strings.Contains(s, "also a") {
			t.Errorf("%s: %s", position, s)
		}
	}
	ready := r.page("/ready", "sensor, TX-1, position ax, ay, az")
	if n := strings.Count(ready, "TX-1"); n != 1 {
		t.Errorf("Ready names what the case needs %d times", n)
	}
	r.write("a.csv", csv(80))
	shot := r.shots(1)["a.csv"]
	if n := strings.Count(r.page("/shots/"+shot), "sensor, TX-1"); n != 3 {
		t.Errorf("the shot names the case %d times, want at its three positions", n)
	}
	// A ram has no axes.
	r.saved("/rig/mount", url.Values{"position": {"ram"}, "item": {"new"}, "class": {"ram"}, "serial": {"R-1"}})
	ram := regexp.MustCompile(`<option value="([0-9a-f-]{36})">ram, R-1`).FindStringSubmatch(r.page("/rig"))[1]
	if a := r.form("/rig/mount", url.Values{"position": {"neck"}, "item": {ram}, "also": {"yes"}}); a.status != http.StatusConflict || !strings.Contains(a.body, "is no sensor") {
		t.Errorf("a ram at two places = %d", a.status)
	}
	r.saved("/rig/unmount", url.Values{"position": {"ay"}})
	r.page("/day", "<b>taken off</b>, sensor, TX-1: position ay is empty")
	if a, y, z := row("ax"), row("ay"), row("az"); !strings.Contains(a, "TX-1") || strings.Contains(y, "TX-1") || !strings.Contains(z, "TX-1") {
		t.Errorf("off one position: %s %s %s", a, y, z)
	}
	r.page("/rig", "Off all its positions", "It sits at az too")
	r.saved("/rig/unmount", url.Values{"position": {"ax"}, "everywhere": {"yes"}})
	if a, z := row("ax"), row("az"); strings.Contains(a, "TX-1") || strings.Contains(z, "TX-1") {
		t.Errorf("off all positions: %s %s", a, z)
	}
}

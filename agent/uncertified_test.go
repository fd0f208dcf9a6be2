package agent_test

import (
	"html"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"
)

// A sensor that is added at the rig is calibrated unless somebody says otherwise,
// and a certificate counts also for one that was said to need none.
func TestWhatMeasuresIsCalibrated(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	long := at(time.Now().AddDate(0, 0, -20))
	r.saved("/rig/mount", url.Values{"position": {"ax"}, "item": {"new"}, "class": {"sensor"}, "serial": {"S-1"}, "effective_at": {long}})
	r.saved("/rig/mount", url.Values{"position": {"head form"}, "item": {"new"}, "class": {"head form"}, "serial": {"F-1"}, "effective_at": {long}})
	ready := r.page("/ready", "sensor, S-1, position ax", "no calibration recorded", "1 item in order")
	if strings.Contains(ready, "no certificate on record") {
		t.Error("a head form is asked for a certificate")
	}
	r.saved("/rig/mount", url.Values{"position": {"ay"}, "item": {"new"}, "class": {"sensor"}, "serial": {"S-2"}, "calibration_required": {"no"}, "effective_at": {long}})
	r.page("/ready", "sensor, S-2, position ay", "no certificate on record", "1 item in order")
	shot := "/shots/" + r.hit("H-1", 80)
	mounted := func() string {
		_, b, ok := strings.Cut(r.page(shot), "Mounted when it was fired")
		if !ok {
			t.Fatal("the shot does not say what was mounted")
		}
		b, _, _ = strings.Cut(b, "</table>")
		return strings.Join(strings.Fields(html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(b, " "))), " ")
	}
	for _, want := range []string{"head form head form, F-1 needs none", "sensor, S-2 ▲ no certificate on record", "sensor, S-1 ■ no calibration recorded"} {
		if s := mounted(); !strings.Contains(s, want) {
			t.Errorf("%q is missing in %q", want, s)
		}
	}
	r.page(shot, "by the register nothing was mounted at az, gate", "#flag-nothing_mounted")
	r.page("/ready", "position az", "nothing is mounted")
	// Its certificate comes to light, and had run out before the shot.
	id := regexp.MustCompile(`<option value="([0-9a-f-]{36})">sensor, S-2`).FindStringSubmatch(r.page("/rig"))[1]
	day := func(back int) string { return time.Now().AddDate(0, 0, -back).Format(time.DateOnly) }
	r.saved("/rig/calibration", url.Values{"item": {id}, "effective_at": {day(370)}, "due_at": {day(5)}, "certificate": {"K-2"}})
	if s := mounted(); !strings.Contains(s, "sensor, S-2 ■ overdue by") || !strings.Contains(s, "certificate K-2") {
		t.Errorf("the flag says overdue, the table %q", s)
	}
	r.page(shot, "sensor S-2 was due for calibration on "+day(5))
	r.page("/ready", "calibration overdue by")
}

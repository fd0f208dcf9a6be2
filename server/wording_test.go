package server_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
)

// TestScreensSayWhichDayZoneAndItem: the digest names its day and what its links
// lead to; times say their zone; a new item is led to; what is not there is said
// in a sentence.
func TestScreensSayWhichDayZoneAndItem(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Sorrel", 1)
	body := s.operator.get("/digest?day=2026-03-10").want(t, 200, "a digest").body
	for _, want := range []string{`<h2 id="day-shown">2026-03-10</h2>`, ">Day before, 2026-03-09</a>", ">Day after, 2026-03-11</a>"} {
		if !strings.Contains(body, want) {
			t.Errorf("the digest lacks %s", want)
		}
	}
	to := s.manager.form("/equipment/items", url.Values{"lab": {s.id.String()}, "class": {"neck"}, "serial": {"SO-1"}, "name": {"long neck"}}).want(t, 303, "an item").header.Get("Location")
	m := regexp.MustCompile(`href="(/equipment/use/[^"]+)">long neck, SO-1</a>`).FindStringSubmatch(s.manager.get(to).want(t, 200, "its outcome").body)
	if m == nil {
		t.Fatal("no link leads to the new item")
	}
	s.manager.form("/equipment/states", url.Values{"item": {strings.TrimPrefix(m[1], "/equipment/use/")}, "state": {lab.StateQuarantined}, "reason": {"a crack"}, "effective_at": {time.Now().Add(-time.Hour).Format("2006-01-02T15:04:05")}}).want(t, 303, "a state")
	zone := time.Now().Format("-07:00")
	if zone == "+00:00" {
		zone = "UTC"
	}
	zone = strings.Replace(zone, "-", "\u2212", 1)
	body = s.manager.get(m[1]).want(t, 200, "the item").body
	if text := words(body); !strings.Contains(text, "In the zone of this server, "+zone+" now.") || !strings.Contains(text, zone+" quarantined") {
		t.Errorf("the item's screen does not say the zone of its times: %.2500s", text)
	}
	if now := regexp.MustCompile(`id="state-effective_at" name="effective_at" value="([^"]*)"`).FindStringSubmatch(body); now == nil || len(now[1]) != len("2006-01-02T15:04:05") {
		t.Errorf("the time of the form of the state is not filled in: %q", now)
	}
	if text := words(s.manager.get("/equipment/use/01a20000-0000-7000-8000-000000000000").want(t, 404, "no item").body); !strings.Contains(text, "There is no item of this id.") {
		t.Errorf("what is not there: %.600s", text)
	}
}

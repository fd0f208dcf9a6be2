package agent_test

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
)

// confirmNext confirms the shot that Next offers, at a pressure.
func (r *running) confirmNext(t *testing.T) {
	t.Helper()
	v := fields(t, r.page("/next"), "/next/confirm")
	v.Set("pressure", "141")
	r.send("/next/confirm", v, "/result")
}

// TestResultStaysWithTheConfirmedShot: a file that comes a moment later does not
// take the place of the confirmed shot, whose result is not decided yet; and a shot
// that was left can be accepted later.
func TestResultStaysWithTheConfirmedShot(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.plant(campaign(t))
	r.confirmNext(t)
	r.write("a.csv", csv(93))
	r.until("the result", func() bool { return !strings.Contains(r.get("/result").body, "Waiting for the file") })
	first := fields(t, r.get("/result").body, "/result/accept").Get("shot")
	r.write("a2.csv", csv(94))
	r.shots(2)
	body := r.page("/result", "Another file came", ">a2.csv</a>", "FG-01, front", "/result/second")
	if got := fields(t, body, "/result/accept").Get("shot"); got != first {
		t.Errorf("accepts %s, and the confirmed shot is %s", got, first)
	}
	r.page("/shots/"+first, "Nobody has accepted this result yet")
	day := r.page("/day", `id="undecided"`)
	if !strings.Contains(day, "/shots/"+first+"#accept") {
		t.Error("the day report does not lead to the shot that is not accepted")
	}

	r.confirmNext(t) // it is left
	r.write("b.csv", csv(95))
	r.until("the next result", func() bool { return !strings.Contains(r.get("/result").body, "Waiting for the file") })
	body = r.page("/result", "FG-01, side", "Other shots of today that are not accepted: 2", "/shots/"+first+"#accept")
	if strings.Contains(body, "Another file came") {
		t.Error("a file from before the confirmed shot is called another one")
	}
	v := fields(t, r.get("/shots/"+first).body, "/result/accept")
	for range 2 {
		r.send("/result/accept", v, "/shots/"+first)
	}
	if b := r.page("/shots/"+first, "Accepted at the rig at "); strings.Contains(b, `action="/result/accept"`) {
		t.Error("an accepted shot can be accepted")
	}
	r.page("/result", "Other shots of today that are not accepted: 1")
	r.send("/result/accept", fields(t, r.get("/result").body, "/result/accept"), "/next")
	if a := r.get("/result"); a.status != http.StatusOK || !regexp.MustCompile(`Accepted at the rig at \d{4}-\d\d-\d\d \d\d:`).MatchString(a.body) {
		t.Errorf("the confirmed shot is not shown as accepted:\n%s", a.body)
	}
}

// TestSeenAgainWhileAShotWaits: the same bytes once more end no wait, and the
// screen that waits says so.
func TestSeenAgainWhileAShotWaits(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.write("old.csv", csv(93))
	r.shots(1)
	r.plant(campaign(t))
	r.confirmNext(t)
	if b := r.page("/result", "Waiting for the file"); strings.Contains(b, "has the same bytes as") {
		t.Error("a file is named that did not come")
	}
	r.write("new.csv", csv(93))
	r.until("the file seen again is named", func() bool {
		b := r.get("/result").body
		return strings.Contains(b, "new.csv came, and it has the same bytes as old.csv") && strings.Contains(b, "Waiting for the file") && strings.Contains(b, `href="/seen"`)
	})
}

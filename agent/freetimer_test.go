package agent_test

import (
	"net/url"
	"strings"
	"testing"
)

// A free shot has no plan, so its specimen's own times are on Next: since it left
// its chamber, and since its last hit; both go with the shot.
func TestTimersOfFreeShots(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	if body := r.page("/next", "A specimen leaves its chamber"); strings.Contains(body, "Rest and time out of the chamber") {
		t.Error("times of specimens that nobody has hit or taken out")
	}
	r.send("/next/out", url.Values{"specimen": {"V-3"}, "campaign": {""}}, "/next")
	r.page("/next", "Rest and time out of the chamber", "<dt>V-3</dt>", "It is back in")
	fire := func(name string, peakG float64) string {
		t.Helper()
		v := fields(t, r.page("/next"), "/next/confirm")
		v.Set("pressure", "141")
		v.Set("specimen", "v-3")
		r.send("/next/confirm", v, "/result")
		r.write(name, csv(peakG))
		r.until("the result", func() bool { return !strings.Contains(r.get("/result").body, "Waiting for the file") })
		return fields(t, r.page("/result"), "/result/accept").Get("shot")
	}
	r.page("/shots/"+fire("a.csv", 93), "Time out of the chamber")
	if body := r.page("/next", "<dt>V-3</dt>", "last hit <time"); strings.Count(body, "<dt>V-3</dt>")+strings.Count(body, "<dt>v-3</dt>") != 1 {
		t.Error("a specimen is listed twice")
	}
	r.page("/shots/"+fire("b.csv", 94), "Time since the last impact")
	r.send("/next/out", url.Values{"specimen": {"V-3"}, "back": {"yes"}}, "/next")
	if body := r.page("/next", "Out of the chamber now"); strings.Contains(body, "It is back in") {
		t.Error("it is still said to be out")
	}
}

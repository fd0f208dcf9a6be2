package agent_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

// A planned shot that was fired, and of which no file came, hit its specimen all
// the same: it is told on every list, and the next hit's times count from it.
func TestHitWithoutAFile(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.plant(campaign(t))
	confirm := func(set url.Values) (expected string) {
		t.Helper()
		v := fields(t, r.page("/next"), "/next/confirm")
		v.Set("pressure", "141")
		for k := range set {
			v.Set(k, set.Get(k))
		}
		r.send("/next/confirm", v, "/result")
		return fields(t, r.page("/result"), "/result/end").Get("expected")
	}
	e := confirm(nil)
	r.page("/result", "Specimen that was hit", `name="specimen" value="FG-01"`, `name="location" value="front"`)
	lacks := url.Values{"expected": {e}, "fired": {"yes"}, "specimen": {"FG-01"}, "location": {"left"}, "condition": {"cold"}}
	if a := r.form("/result/end", lacks); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, `name="location" value="left"`) {
		t.Errorf("an end without a reason = %d, and what was typed is gone", a.status)
	}
	lacks.Set("reason", "acquisition not armed")
	r.send("/result/end", lacks, "/next")
	if a := r.form("/result/end", lacks); a.status != http.StatusConflict || !strings.Contains(a.body, "Nothing was recorded now: it was said before that no file is to come.") {
		t.Errorf("the same from a second tab = %d\n%s", a.status, a.body)
	}

	r.page("/next", "FG-01, front, cold", "FG-01 was hit once without a file coming of it", "left. It carries that into the next hit", "<dt>Rest since the last hit</dt><dd><time")
	r.page("/strokes", "fired, no file came", "FG-01, left, cold")
	today := time.Now().Format(time.DateOnly)
	r.page("/day?date="+today, "FG-01, left, cold", "acquisition not armed")
	var row map[string]string
	for _, x := range r.rows("/day.csv?date=" + today) {
		if x["what"] == "fired, no file came" {
			row = x
		}
	}
	if row["specimen"] != "FG-01" || row["location"] != "left" || row["condition"] != "cold" || row["target_speed_m_s"] != "5" {
		t.Errorf("the line of the day: %v", row)
	}
	r.page("/specimens/FG-01", "no data", "fired, no file came: acquisition not armed", "left")
	hits := r.get("/api/v1/specimens/FG-01").json(t)["hits_without_file"].([]any)
	if len(hits) != 1 || hits[0].(map[string]any)["location"] != "left" {
		t.Errorf("hits without a file by the API: %v", hits)
	}

	// The next hit stands after it, with the rest since it.
	if e := confirm(nil); strings.Contains(r.page("/result"), ", for <time") {
		t.Error(e, "is waited for since a time, for a moment ago")
	}
	r.write("a.csv", csv(93))
	r.until("the result", func() bool { return !strings.Contains(r.get("/result").body, "Waiting for the file") })
	r.page("/shots/"+fields(t, r.page("/result"), "/result/accept").Get("shot"), "Time since the last impact")
	body := r.page("/specimens/FG-01", "no data")
	if strings.Count(body, `<td class="r num">`) != 2 || strings.Index(body, "no data") > strings.Index(body, `<td class="r num">2</td>`) {
		t.Error("the hit without a file is not the first of two")
	}
	r.send("/strokes/withdraw", fields(t, r.page("/strokes"), "/strokes/withdraw"), "/strokes")
	if strings.Contains(r.page("/specimens/FG-01"), "no data") {
		t.Error("an entry that was taken back is still a hit")
	}
}

// Of a free shot what was confirmed counts where the form did not ask; a dry
// stroke hits nothing.
func TestFreeHitWithoutAFile(t *testing.T) {
	r := start(t)
	for _, of := range []struct{ kind, specimen, want string }{{"shot", "V-3", "V-3"}, {"dry", "", ""}} {
		v := fields(t, r.page("/next"), "/next/confirm")
		v.Set("kind", of.kind)
		v.Set("pressure", "141")
		v.Set("specimen", of.specimen)
		r.send("/next/confirm", v, "/result")
		body := r.page("/result")
		if asks := strings.Contains(body, "Specimen that was hit"); asks != (of.kind == "shot") {
			t.Errorf("%s: asked what was hit: %t", of.kind, asks)
		}
		e := fields(t, body, "/result/end").Get("expected")
		end := url.Values{"expected": {e}, "fired": {"yes"}, "reason": {"disk full"}}
		if of.kind == "dry" {
			end.Set("specimen", "V-4")
		}
		r.send("/result/end", end, "/next")
	}
	r.page("/next", "<dt>V-3</dt>", "last hit <time")
	r.page("/specimens/V-3", "no data", "disk full")
	if a := r.get("/specimens/V-4"); a.status != http.StatusNotFound {
		t.Errorf("a dry stroke hit a specimen: %d", a.status)
	}
}

// A file that comes after its stroke was counted without one is asked about: it would
// count twice.
func TestFileAfterItsStrokeWasCounted(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.plant(campaign(t))
	v := fields(t, r.page("/next"), "/next/confirm")
	v.Set("pressure", "141")
	r.send("/next/confirm", v, "/result")
	end := fields(t, r.page("/result"), "/result/end")
	end.Set("fired", "yes")
	end.Set("specimen", "FG-01")
	end.Set("reason", "not armed")
	r.send("/result/end", end, "/next")
	r.write("late.csv", csv(93))
	shot := "/shots/" + r.shots(1)["late.csv"]
	const asked = "as fired without a file, on FG-01. If this is its file, it counts twice."
	r.page(shot, asked)
	r.page("/result", asked)
	r.send("/strokes/withdraw", fields(t, r.page("/strokes"), "/strokes/withdraw"), "/strokes")
	if strings.Contains(r.page(shot), "counts twice") {
		t.Error("an entry that was taken back is asked about")
	}
}

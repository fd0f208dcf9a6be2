package agent_test

import (
	table "encoding/csv"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// rows reads a table as a spreadsheet would: a map of column to cell each.
func (r *running) rows(path string) (out []map[string]string) {
	r.t.Helper()
	a := r.get(path)
	all, err := table.NewReader(strings.NewReader(a.body)).ReadAll()
	if err != nil || a.status != http.StatusOK || len(all) == 0 {
		r.t.Fatalf("GET %s = %d %v\n%s", path, a.status, err, a.body)
	}
	for _, line := range all[1:] {
		row := map[string]string{}
		for i, name := range all[0] {
			row[name] = line[i]
		}
		out = append(out, row)
	}
	return out
}

// The report of a day has all that happened, with who and why, as a page and as
// a table; the day before it is empty, and says so.
func TestDayReport(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	today := time.Now().Format(time.DateOnly)
	yesterday := time.Now().AddDate(0, 0, -1).Format(time.DateOnly)
	r.page("/day", "Nothing was recorded at this rig on this day", "so far", "No shot was taken in")
	r.page("/next", `href="/day"`)
	r.plant(campaign(t))
	r.saved("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"4711"}})

	// A shot that is accepted, one that is void, one nobody said anything about.
	fire := func(name string, peakG float64) string {
		t.Helper()
		v := fields(t, r.page("/next"), "/next/confirm")
		v.Set("pressure", "141")
		r.send("/next/confirm", v, "/result")
		a := r.post(part{"file", name, csv(peakG)}, part{"map", "m.toml", mapText})
		if a.status != http.StatusCreated {
			t.Fatalf("post = %d %s", a.status, a.body)
		}
		return a.json(t)["id"].(string)
	}
	accepted := fire("a.csv", 93)
	r.send("/result/accept", fields(t, r.page("/result"), "/result/accept"), "/next")
	void := fire("b.csv", 94)
	v := fields(t, r.page("/result"), "/result/void")
	v.Set("reason", "chin strap open")
	r.send("/result/void", v, "/next")
	open := fire("c.csv", 120)

	v = fields(t, r.page("/strokes"), "/strokes")
	v.Set("number", "3")
	v.Set("pressure", "120")
	r.send("/strokes", v, "/strokes")
	noon := time.Now().Format("2006-01-02T15:04:05")
	r.send("/log", url.Values{"entry": {labtest.ID("note").String()}, "topic": {"note"}, "effective_at": {noon}, "text": {"hall at 24 °C"}}, "/log")
	r.send("/log", url.Values{"entry": {labtest.ID("late").String()}, "topic": {"note"}, "effective_at": {yesterday + "T12:00:00"}, "text": {"gauge exchanged"}}, "/log")
	r.saved("/rig/mount", url.Values{"position": {"ram"}, "item": {"new"}, "class": {"ram"}, "serial": {"R-9"}})
	r.saved("/ready/on", url.Values{"reason": {"the register is not filled in yet"}})
	if a := r.post(part{"file", "bad.csv", "nothing that counts\n"}); a.status != http.StatusUnprocessableEntity {
		t.Fatalf("a file that cannot be read = %d", a.status)
	}

	dry := labtest.ID("dry")
	r.plant(labtest.Draft(t, dry, labtest.Shot(r.mounting().Rig, time.Now(), func(s *lab.Shot) { s.Kind, s.Meta = lab.ShotDry, lab.Meta{} })),
		labtest.Draft(t, dry, labtest.Score(dry, 5.5, func(s *lab.Score) { s.Flags = []lab.Flag{{Code: lab.FlagFileTime, Text: "ahead"}} })))

	body := r.page("/day", "FG-01, front, cold", "accepted", "chin strap open", "not accepted yet", "Peak linear acceleration above 100.0", "3 dry strokes", "hall at 24 °C",
		"R-9", "the register is not filled in yet", "nothing is mounted", "bad.csv", "Wilma Quill", "No system check was fired", `href="/day.csv?date=`+today)
	if strings.Contains(body, "gauge exchanged") {
		t.Error("a note of the day before is in the report")
	}
	if strings.Contains(body, "Nothing was recorded") {
		t.Error("the day is called empty")
	}
	r.page("/day?date="+yesterday, "gauge exchanged", "at the end of the day", "/day?date="+today)
	r.page("/day?date=2019-05-01", "Nothing was recorded at this rig on this day")
	for _, bad := range []string{"tomorrow", "2026-02-30", "0001-01-01"} {
		if a := r.get("/day?date=" + bad); a.status < 400 || a.status >= 500 || !strings.Contains(a.body, "is no day") {
			t.Errorf("the day %q = %d", bad, a.status)
		}
	}

	byID, kinds := map[string]map[string]string{}, map[string]int{}
	last := ""
	for _, row := range r.rows("/day.csv") {
		byID[row["id"]] = row
		kinds[row["what"]]++
		if at, err := time.Parse(time.RFC3339, row["at"]); err != nil || row["at"] < last {
			t.Errorf("the time %q, after %q: %v", row["at"], last, err)
		} else if at.In(time.Local).Format(time.DateOnly) != today {
			t.Errorf("%q is not of this day", row["at"])
		}
		last = row["at"]
	}
	for id, want := range map[string][2]string{accepted: {"accepted", ""}, void: {"void", "chin strap open"}, open: {"not accepted yet", ""}} {
		if got := byID[id]; got["verdict"] != want[0] || got["reason"] != want[1] || got["tank_pressure_kpa_gauge"] != "141" {
			t.Errorf("shot %s: %v, want %v", id, got, want)
		}
	}
	if got := byID[open]["limits"]; !strings.Contains(got, "above 100.0") {
		t.Errorf("limits of the last shot: %q", got)
	}
	flagged := 0
	for _, row := range byID {
		if row["what"] == "shot" && row["verdict"] != "void" && row["flags"] != "" {
			flagged++
		}
	}
	for what, n := range map[string]int{"Shots, without void ones": 2, "Of these accepted": 1, "Of these with a flag": flagged, "Void, of every kind": 1, "Dry strokes with a file": 1} {
		if sum := fmt.Sprintf(`<dt>%s</dt><dd class="num">%d</dd>`, what, n); !strings.Contains(body, sum) {
			t.Errorf("the page does not count as the table: %s", sum)
		}
	}
	if byID[dry.String()]["flags"] == "" || flagged == 0 {
		t.Error("a dry stroke and a shot with a flag must occur")
	}
	for what, n := range map[string]int{"shot": 3, "dry stroke": 1, "3 dry strokes": 1, "note": 1, "mounted": 1, "went on overdue": 1} {
		if kinds[what] != n {
			t.Errorf("%d rows of %q, want %d; all: %v", kinds[what], what, n, kinds)
		}
	}
	if got := r.rows("/day.csv?date=2019-05-01"); len(got) != 0 {
		t.Errorf("the table of an empty day: %v", got)
	}
}

// What is due is that of the day: a sensor whose calibration runs out later was
// in order then.
func TestDayReportOfThePast(t *testing.T) {
	r := start(t)
	r.hit("H-1", 80)
	rig := r.mounting().Rig
	now := time.Now()
	r.plant(labtest.Draft(t, labtest.ID("s"), &lab.Item{Class: lab.ClassSensor, Serial: "S-1", Name: "Sensor", CalibrationRequired: true}),
		labtest.Draft(t, labtest.ID("c"), &lab.Calibration{Item: labtest.ID("s"), Certificate: "C-31", EffectiveAt: lab.At(now.AddDate(-1, 0, 0)), DueAt: lab.At(now.AddDate(0, 0, -3))}),
		labtest.Draft(t, labtest.ID("ms"), &lab.Mounting{Rig: rig, Position: "ax", Item: labtest.ID("s"), EffectiveAt: lab.At(now.AddDate(0, -6, 0))}))
	r.page("/day", "calibration overdue", "S-1", "<b>certificate entered</b>, Sensor, S-1: certificate C-31", "calibrated "+now.AddDate(-1, 0, 0).Format(time.DateOnly))
	before := r.page("/day?date="+now.AddDate(0, -2, 0).Format(time.DateOnly), "S-1")
	if strings.Contains(before, "overdue by") {
		t.Error("what was in order then is called overdue")
	}
	if b := r.page("/day?date=" + now.AddDate(0, -8, 0).Format(time.DateOnly)); strings.Contains(b, "S-1") {
		t.Error("what was mounted later is in the report")
	}
}

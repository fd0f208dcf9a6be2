package agent_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

var entryID = regexp.MustCompile(`name="entry" value="([0-9a-f-]{36})"`)

// Entries of the log by the forms of the screen: a note, its correction, a
// service with what belongs to it, and the table of it all.
func TestLog(t *testing.T) {
	r := start(t)
	r.page("/log", "Nothing is in the log yet", "Add an entry")
	r.hit("H-1", 70)
	ram := labtest.ID("ram")
	r.state(map[uuid.UUID]lab.Body{ram: &lab.Item{Class: lab.ClassRam, Serial: "R-12", ServiceEveryStrokes: 500}})
	add := func(path string, v url.Values) answer {
		t.Helper()
		v.Set("entry", entryID.FindStringSubmatch(r.page(path))[1])
		r.form("/log", v)
		return r.form("/log", v) // sent twice by mistake
	}
	note := url.Values{"topic": {"note"}, "effective_at": {"2026-03-02T09:00:00"}, "text": {"=hall was cold"}}
	if a := add("/log", note); a.status != http.StatusSeeOther {
		t.Fatalf("note = %d\n%s", a.status, a.body)
	}
	service := url.Values{"topic": {"service"}, "effective_at": {"2026-03-02T11:00:00"}, "item": {ram.String()}, "text": {"seals changed"}, "parts": {"seal set, lot 44\n\n wiper  ring"},
		"duration_minutes": {"45"}, "done_by": {"workshop"}, "counter_strokes": {"12 044"}}
	if a := add("/log", service); a.status != http.StatusSeeOther {
		t.Fatalf("service = %d\n%s", a.status, a.body)
	}
	b := r.page("/log", "ram, R-12", "wiper ring", "took 45", "done by workshop", "=hall was cold", "at the rig")
	if n := strings.Count(b, "seals changed"); n != 1 || strings.Index(b, "seals changed") > strings.Index(b, "hall was cold") {
		t.Errorf("the service stands %d times, or not first", n)
	}
	if b = r.page("/log?kind=note", "hall was cold"); strings.Contains(b, "seals changed") {
		t.Error("notes alone have the service in them")
	}
	r.page("/log?kind=deviation", "There is no such entry")

	fix := regexp.MustCompile(`href="(/log\?note=[0-9a-f-]+)#entry"`).FindStringSubmatch(b)[1]
	r.page(fix, "Correct an entry", "=hall was cold")
	note.Set("text", "hall was at 12 °C")
	note.Set("note", strings.TrimPrefix(fix, "/log?note="))
	if a := add(fix, note); a.status != http.StatusSeeOther {
		t.Fatalf("correction = %d\n%s", a.status, a.body)
	}
	r.page("/log", "corrected since", "=hall was cold", "hall was at 12 °C")
	if a := r.get(fix); a.status != http.StatusNotFound {
		t.Errorf("what was corrected can be corrected again: %d", a.status)
	}
	fix = regexp.MustCompile(`href="(/log\?service=[0-9a-f-]+)#entry"`).FindStringSubmatch(r.page("/log"))[1]
	service.Set("text", "seals and piston changed")
	service.Set("service", strings.TrimPrefix(fix, "/log?service="))
	if a := add(fix, service); a.status != http.StatusSeeOther {
		t.Fatalf("correction of a service = %d\n%s", a.status, a.body)
	}
	if b = r.page("/log?kind=service", "corrected since", "seals and piston changed"); strings.Count(b, "<tr") != 3 {
		t.Errorf("the services:\n%s", b)
	}
	lines := strings.Split(strings.TrimSpace(r.get("/log.csv").body), "\n")
	if len(lines) != 5 || !strings.Contains(strings.Join(lines, "\n"), "'=hall was cold") || !strings.Contains(strings.Join(lines, "\n"), `"seal set, lot 44; wiper ring",45,workshop,12044`) {
		t.Errorf("table:\n%s", strings.Join(lines, "\n"))
	}

	// Certificates, and shots that were made void, stand in the log of their own accord.
	r.saved("/rig/calibration", url.Values{"item": {ram.String()}, "effective_at": {"2026-03-03"}, "due_at": {"2099-01-10"}, "certificate": {"C-77"}, "laboratory": {"Hall of weights"}, "confirmed": {"yes"}})
	shot := r.shots(1)
	for _, id := range shot {
		r.send("/shots/"+id+"/void", url.Values{"void": {"yes"}, "reason": {"chin strap open"}}, "/shots/")
		r.send("/shots/"+id+"/void", url.Values{"void": {"no"}, "reason": {"it was closed"}}, "/shots/")
	}
	r.page("/log", "certificate C-77, good until 2099-01-10", "by Hall of weights", "chin strap open", "counts again", "it was closed", "shot H-1")
	if b = r.page("/log?kind=calibrated", "C-77"); strings.Contains(b, "chin strap open") || strings.Contains(b, "hall was") {
		t.Error("certificates alone have more in them")
	}
	if b = r.page("/log?kind=made+void", "chin strap open"); strings.Contains(b, "C-77") {
		t.Error("voids alone have more in them")
	}
	if text := r.get("/log.csv").body; !strings.Contains(text, "C-77") || !strings.Contains(text, "chin strap open") {
		t.Errorf("the table lacks them:\n%s", text)
	}

	for field, v := range map[string]url.Values{
		"A service needs its item":  {"topic": {"service"}, "effective_at": {"2026-03-02T09:00:00"}, "text": {"x"}},
		"is not a time":             {"topic": {"note"}, "effective_at": {"soon"}, "text": {"x"}},
		"Only a service has this":   {"topic": {"note"}, "effective_at": {"2026-03-02T09:00:00"}, "text": {"x"}, "done_by": {"y"}},
		"Choose what the entry is":  {"topic": {"rumour"}, "effective_at": {"2026-03-02T09:00:00"}, "text": {"x"}},
		"is not a whole number":     {"topic": {"service"}, "effective_at": {"2026-03-02T09:00:00"}, "text": {"x"}, "item": {ram.String()}, "counter_strokes": {"12k"}},
		"the year 1066 is out of":   {"topic": {"note"}, "effective_at": {"1066-10-14T09:00:00"}, "text": {"x"}},
		"the text has 2001 charact": {"topic": {"note"}, "effective_at": {"2026-03-02T09:00:00"}, "text": {strings.Repeat("x", 2001)}},
	} {
		if a := add("/log", v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, field) {
			t.Errorf("%s: %d", field, a.status)
		}
	}
}

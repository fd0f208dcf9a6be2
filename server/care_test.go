package server_test

import (
	"bytes"
	"fmt"
	"html"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
)

var unsafeText = regexp.MustCompile(`<[^>]*>`)

// words gives what a page says, without its tags.
func words(body string) string {
	return strings.Join(strings.Fields(html.UnescapeString(unsafeText.ReplaceAllString(body, " "))), " ")
}

// TestCare walks through a manager's work with equipment: a list is checked and
// taken in, wear and state are shown, what is due stands on the board, in the
// calendar and in the metrics, and usage is shared out.
func TestCare(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Rowan", 30)
	base := "/api/v1/labs/" + s.id.String()
	day := func(n int) string { return time.Now().AddDate(0, 0, n).Format(time.DateOnly) }

	// A faulty list names line and column and writes nothing.
	a := s.list("class,serial,state\nhose,H-1,lent\n").want(t, 422, "a faulty list")
	if text := words(a.body); !strings.Contains(text, "line 2, column state “lent” is no state.") {
		t.Errorf("the fault is not shown: %.400s", text)
	}
	list := "class,serial,asset_number,state,location,service_every_days,calibration_required\nhose,H-1,A-1,,store,100,\nsensor,S-99,A-2,quarantined,shelf 2,,yes\n"
	a = s.list(list).want(t, 200, "a good list")
	if text := words(a.body); !strings.Contains(text, "2 new, 0 changed, 0 as they are, of 2 lines.") {
		t.Errorf("the plan is not shown: %.600s", text)
	} else if !strings.Contains(text, "calibration_required : yes") || !strings.Contains(text, "Classes of new items are ram, drop carriage") {
		t.Errorf("a new item looks like a change, or the classes are not named: %.1800s", text)
	}
	plan := url.Values{"lab": {s.id.String()}, "list": {hidden(t, a.body, "list")}, "digest": {hidden(t, a.body, "digest")}, "key": {hidden(t, a.body, "key")}}
	s.operator.form("/equipment/list", plan).want(t, 403, "an operator taking in a list")
	s.manager.form("/equipment/list", with(plan, "digest", "of another plan")).want(t, 409, "a plan that is not this one")
	s.manager.form("/equipment/list", plan).want(t, 303, "the list as it was shown")
	csv := s.operator.get("/equipment/list.csv?lab="+s.id.String()).want(t, 200, "the export").body
	for _, line := range []string{"hose,H-1,A-1,,,,in service,store,,100,,no", "sensor,S-99,A-2,,,,quarantined,shelf 2,,,,yes"} {
		if !strings.Contains(csv, "\n"+line+"\n") {
			t.Errorf("the export lacks %q:\n%s", line, csv)
		}
	}
	if text := words(s.list(csv).want(t, 200, "the export taken in").body); !strings.Contains(text, "0 new, 0 changed") {
		t.Errorf("what was exported changes something: %.400s", text)
	}

	// The ram that came with the shots: 30 strokes and one more, 40 before the register.
	ram := "/equipment/use/" + s.Ram.String()
	text := words(s.operator.get(ram).want(t, 200, "the ram").body)
	if !strings.Contains(text, "Strokes in all, dry and void ones too 71 of these 40 before this register") {
		t.Errorf("strokes of the ram: %.900s", text)
	}
	s.manager.form("/equipment/corrections", url.Values{"item": {s.Ram.String()}, "strokes": {"x"}, "effective_at": {day(0)}, "reason": {"logger off"}}).want(t, 422, "a correction by x")
	a = s.manager.form("/equipment/corrections", url.Values{"item": {s.Ram.String()}, "strokes": {"-5"}, "effective_at": {time.Now().Format("2006-01-02T15:04:05")}, "reason": {"counted twice"}}).want(t, 303, "a correction")
	text = words(s.manager.get(a.header.Get("Location")).want(t, 200, "after it").body)
	for _, want := range []string{"The counter was corrected.", "dry and void ones too 66 ", "−5 by correction", "counter corrected by −5 strokes", "counted twice"} {
		if !strings.Contains(text, want) {
			t.Errorf("after the correction the page lacks %q: %.900s", want, text)
		}
	}
	s.manager.form("/equipment/plans", url.Values{"item": {s.Ram.String()}, "service_every_strokes": {"10"}}).want(t, 303, "a plan")
	cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "S-5", Name: "cell; five, x", CalibrationRequired: true})
	for i, k := range []map[string]any{{"certificate": "K-1", "sensitivity": 1.0, "due_at": time.Now()}, {"certificate": "K-2", "sensitivity": 1.05, "due_at": time.Now().AddDate(0, 0, 20)}} {
		k["item"], k["effective_at"], k["sensitivity_unit"], k["expanded_uncertainty_percent"] = cell, time.Now().AddDate(0, 0, i-100), "mV/g", 1.5
		s.manager.make(base+"/calibrations", k)
	}
	wrong := url.Values{"item": {cell.String()}, "effective_at": {day(-1)}, "due_at": {day(300)}, "certificate": {"K-3"}, "sensitivity": {"-1.05"}, "sensitivity_unit": {"mV/g"}}
	if a := s.manager.form("/equipment/calibrations", wrong).want(t, 409, "the other sign"); !strings.Contains(words(a.body), "has the other sign than 1.05 on certificate K-2") {
		t.Errorf("the doubt is not shown: %.300s", words(a.body))
	}

	// The board: two certificates of 1.5 % each explain hypot(1.5, 1.575) = 2.2 %; 5 % are more.
	text = words(s.operator.get("/health").want(t, 200, "the board").body)
	for _, want := range []string{"service overdue by", "S-99 sensor · shelf 2", "quarantined from an imported list", "no calibration recorded",
		"calibration due in 19 days", "sensitivity changed: more than the uncertainties explain Certificate K-2 found the sensitivity +5.0 % off the one of certificate K-1; ±2.2 % is what"} {
		if !strings.Contains(text, want) {
			t.Errorf("the board lacks %q: %.3000s", want, text)
		}
	}
	// A retired item is due for nothing, on no screen.
	if text := words(s.operator.get("/").body); !strings.Contains(text, "sensor, S-99") {
		t.Errorf("the overview does not show what is due: %.900s", text)
	}
	for _, i := range into[[]struct{ ID, Serial, State, Location string }](t, s.operator.get(base+"/items?class=sensor")) {
		if i.Serial != "S-99" {
			continue
		}
		if i.State != lab.StateQuarantined || i.Location != "shelf 2" {
			t.Errorf("the API has %+v", i)
		}
		s.manager.make(base+"/states", map[string]any{"item": i.ID, "state": "retired", "effective_at": time.Now(), "reason": "lost"})
	}
	for _, path := range []string{"/", "/health"} {
		if strings.Contains(s.operator.get(path).body, "S-99") {
			t.Errorf("%s shows a retired item as due", path)
		}
	}
	// Mounted elsewhere without having been taken off: it is said.
	mount := url.Values{"rig": {s.Rig.String()}, "position": {"ax"}, "item": {cell.String()}, "effective_at": {day(-2)}}
	s.manager.form("/equipment/mountings", mount).want(t, 303, "a mounting")
	a = s.manager.form("/equipment/mountings", with(mount, "position", "ay", "effective_at", day(-1))).want(t, 303, "a move")
	if text := words(s.manager.get(a.header.Get("Location")).body); !strings.Contains(text, "it counts as moved") {
		t.Errorf("the move is not pointed out: %.400s", text)
	}
	s.feeds(cell.String())

	// Usage: the shots of the plan's specimens belong to its owner.
	text = words(s.operator.get("/usage?by=owner").want(t, 200, "usage").body)
	if !strings.Contains(text, "Development") || !strings.Contains(text, "in all 31 ") {
		t.Errorf("usage by owner: %.900s", text)
	}
	if a := s.operator.get("/usage?from=last+month").want(t, 422, "no month"); !strings.Contains(a.body, "is not a month") {
		t.Error("a bad month is not named")
	}
	if body := s.operator.get("/usage.csv?by=operator").want(t, 200, "usage as CSV").body; !strings.Contains(body, "\nRowan op,1,") || !strings.HasPrefix(body, "operator,strokes,") {
		t.Errorf("usage by operator:\n%s", body)
	}
}

// list sends a list as a file, as the form does.
func (s *site) list(text string) answer {
	s.w.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	part, err := m.CreateFormFile("file", "list.csv")
	if err == nil {
		_, err = part.Write([]byte(text))
	}
	if err == nil {
		err = m.WriteField("lab", s.id.String())
	}
	if err == nil {
		err = m.Close()
	}
	if err != nil {
		s.w.t.Fatal(err)
	}
	return s.manager.do(http.MethodPost, "/equipment/list/check", m.FormDataContentType(), &b)
}

// hidden is the value of a hidden field.
func hidden(t *testing.T, body, name string) string {
	t.Helper()
	m := regexp.MustCompile(`type="hidden" name="` + name + `" value="([^"]*)"`).FindStringSubmatch(body)
	if m == nil {
		t.Fatalf("no hidden field %s", name)
	}
	return html.UnescapeString(m[1])
}

// feeds reads the calendar and the metrics with a secret link.
func (s *site) feeds(cell string) {
	t, w := s.w.t, s.w
	t.Helper()
	link := func(p *person) string {
		m := regexp.MustCompile(`/calendar/([A-Z2-7]{40})\.ics`).FindStringSubmatch(p.form("/health/feed", nil).want(t, 200, "a new link").body)
		if m == nil {
			t.Fatal("no link is shown")
		}
		return m[1]
	}
	old := link(s.operator)
	token := link(s.operator)
	other := w.open("Sorrel", 2)
	foreign := link(other.operator)
	w.stranger().get("/calendar/"+old+".ics").want(t, 404, "the link before")
	w.stranger().get("/calendar/"+token).want(t, 404, "the link without .ics")
	ics := w.stranger().get("/calendar/"+token+".ics").want(t, 200, "the calendar")
	if strings.Contains(w.stranger().get("/calendar/"+foreign+".ics").want(t, 200, "another lab's calendar").body, cell) {
		t.Error("another lab's calendar shows the item")
	}
	if got := ics.header.Get("Content-Type"); got != "text/calendar; charset=utf-8" {
		t.Errorf("the calendar is of type %s", got)
	}
	uid := "UID:calibration-" + cell + "@thudbook"
	if !strings.Contains(strings.ReplaceAll(ics.body, "\r\n ", ""), uid) {
		t.Errorf("no %s in\n%s", uid, ics.body)
	}
	checkCalendar(t, ics.body, "calibration-"+cell+"@thudbook", time.Now().UTC().AddDate(0, 0, 20).Format("2006-01-02"), "cell; five, x, S-5: calibration due")

	w.stranger().get("/metrics/items").want(t, 401, "metrics without a token")
	bad := w.stranger().do(http.MethodGet, "/metrics/items", "", nil, "Authorization", "Bearer "+old)
	bad.want(t, 404, "metrics with the link before")
	m := w.stranger().do(http.MethodGet, "/metrics/items", "", nil, "Authorization", "Bearer "+token).want(t, 200, "metrics")
	for _, want := range []string{`thudbook_item_service_overdue{class="ram",item="` + s.Ram.String(), `thudbook_item_strokes_since_service{class="ram"`, `thudbook_item_calibration_due_timestamp_seconds{class="sensor",item="` + cell, `thudbook_lab_last_seen_timestamp_seconds{lab="Rowan lab"} 1.`} {
		if !strings.Contains(m.body, want) {
			t.Errorf("the metrics lack %s:\n%s", want, m.body)
		}
	}
	promtool(t, m.body, "check", "metrics")
	w.admin.form("/accounts/access", url.Values{"account": {s.accountOf("rowan.operator")}, "may": {"no"}}).want(t, 303, "shutting the operator out")
	w.stranger().get("/calendar/"+token+".ics").want(t, 404, "the link of an account that is shut out")
	w.admin.form("/accounts/access", url.Values{"account": {s.accountOf("rowan.operator")}, "may": {"yes"}}).want(t, 303, "letting the operator in")
	s.operator = w.signIn("rowan.operator", "a long password of Rowan")
}

func (s *site) accountOf(login string) string {
	for _, a := range into[[]struct{ ID, Login string }](s.w.t, s.w.admin.get("/api/v1/accounts")) {
		if a.Login == login {
			return a.ID
		}
	}
	s.w.t.Fatalf("no account %s", login)
	return ""
}

// checkCalendar has the stream read by Debian's python3-icalendar, an
// independent implementation of RFC 5545, and looks for one event.
func checkCalendar(t *testing.T, ics, uid, on, summary string) {
	t.Helper()
	const read = `
import sys, datetime
from icalendar import Calendar
raw = sys.stdin.buffer.read()
assert raw.endswith(b"\r\n") and all(len(l) <= 75 for l in raw.split(b"\r\n")), "lines of 75 octets, RFC 5545 3.1"
cal = Calendar.from_ical(raw)
assert cal["VERSION"] == "2.0" and cal["PRODID"], "3.6"
seen = set()
for e in cal.walk("VEVENT"):
    assert e["UID"] not in seen, "a UID twice"
    seen.add(e["UID"])
    assert e.decoded("DTSTAMP").utcoffset() == datetime.timedelta(0), "DTSTAMP is in UTC, 3.8.7.2"
    assert e.decoded("DTEND") - e.decoded("DTSTART") == datetime.timedelta(days=1)
    assert not e.errors, e.errors
    print(e["UID"], e.decoded("DTSTART"), e.decoded("SUMMARY").decode())
`
	cmd := exec.CommandContext(t.Context(), "/usr/bin/python3", "-c", read)
	cmd.Stdin = strings.NewReader(ics)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("python3-icalendar does not take the calendar (make test-tools installs it): %v\n%s", err, out)
	}
	if want := fmt.Sprintf("%s %s %s\n", uid, on, summary); !strings.Contains(string(out), want) {
		t.Errorf("read back: no %q in\n%s", want, out)
	}
}

// promtool runs Debian's promtool with input.
func promtool(t *testing.T, input string, args ...string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "promtool", args...)
	cmd.Stdin = strings.NewReader(input)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("promtool %s (make test-tools installs it): %v\n%s", strings.Join(args, " "), err, out)
	}
}

// The alert rules are good, and fire when they should.
func TestAlertRules(t *testing.T) {
	t.Parallel()
	dir := filepath.Join("..", "deploy")
	for _, f := range []string{"alerts.yml", "alerts_test.yml"} {
		if _, err := os.Stat(filepath.Join(dir, f)); err != nil {
			t.Fatal(err)
		}
	}
	promtool(t, "", "check", "rules", filepath.Join(dir, "alerts.yml"))
	promtool(t, "", "test", "rules", filepath.Join(dir, "alerts_test.yml"))
}

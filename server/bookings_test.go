package server_test

import (
	"encoding/csv"
	"net/url"
	"path"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// booking is a form that books a rig of a site for hours of tomorrow.
func (s *site) booking(from, to int, department string) url.Values {
	return url.Values{"rig": {s.Rig.String()}, "from": {s.tomorrow(from).Format("2006-01-02T15:04")}, "to": {s.tomorrow(to).Format("2006-01-02T15:04")}, "department": {department}}
}

// tomorrow is an hour of it, on the clock of the server.
func (s *site) tomorrow(hour int) time.Time {
	now := s.w.clock.now()
	return time.Date(now.Year(), now.Month(), now.Day()+1, hour, 0, 0, 0, time.Local)
}

func (s *site) week(query string) string {
	return "/bookings?" + url.Values{"rig": {s.Rig.String()}, "day": {s.tomorrow(0).Format(time.DateOnly)}}.Encode() + query
}

// firstBooking finds the link of a department's booking on a page.
func firstBooking(t *testing.T, body, department string) string {
	t.Helper()
	m := regexp.MustCompile(`href="(/bookings/[0-9a-f-]{36})">[^<]*</a>(?: <span class="status plain">now</span>)? <b>` + department + `</b>`).FindStringSubmatch(body)
	if m == nil {
		t.Fatalf("no booking of %s: %.2500s", department, words(body))
	}
	return m[1]
}

// TestBookings books, is refused a time that is taken with whose it is, books
// anyway, moves and cancels; an operator does what is theirs, another lab nothing.
func TestBookings(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Alder", 2), w.open("Sorrel", 1)
	see := func(p *person, path string, want ...string) string {
		t.Helper()
		body := p.get(path).want(t, 200, path).body
		for _, x := range want {
			if !strings.Contains(words(body), x) {
				t.Errorf("%s lacks %q: %.2500s", path, x, words(body))
			}
		}
		return body
	}
	see(s.operator, s.week(""), "Book the rig", "free", "0 h of this week are booked")
	if see(other.manager, "/bookings"); strings.Contains(other.manager.get("/bookings").body, s.Rig.String()) {
		t.Error("another lab sees the rig")
	}
	other.manager.get(s.week("")).want(t, 404, "another lab's week")
	for field, bad := range map[string]string{"from": "soon", "to": s.tomorrow(7).Format("2006-01-02T15:04"), "department": "", "rig": uuid.NewString()} {
		s.operator.form("/bookings", with(s.booking(8, 12, "Helmets"), field, bad)).want(t, 422, field)
	}
	if a := s.operator.form("/bookings", with(s.booking(8, 12, "Helmets"), "to", "2020-01-01T08:00")).want(t, 422, "what is over"); !strings.Contains(words(a.body), "This is over") {
		t.Errorf("what is over: %.900s", words(a.body))
	}
	other.manager.form("/bookings", s.booking(8, 12, "Helmets")).want(t, 422, "another lab booking it")
	at := s.operator.form("/bookings", with(s.booking(8, 12, "Helmets"), "who", "ext. 12")).want(t, 303, "a booking").header.Get("Location")
	helmets := firstBooking(t, see(s.operator, at, "The rig is booked.", "08:00 to 12:00 Helmets ext. 12", "4 h booked", "4 h of this week"), "Helmets")
	if strings.Contains(see(s.manager, at), "clash with") {
		t.Error("one booking clashes")
	}
	if body := see(s.operator, s.week("")); !strings.Contains(body, `value="Helmets"`) {
		t.Error("what was booked for last is not proposed")
	}

	// Taken: refused with whose and when, then booked anyway with a reason.
	guards := s.booking(11, 14, "Guards")
	day := s.tomorrow(0).Format(time.DateOnly)
	if a := s.manager.form("/bookings", guards).want(t, 409, "a time that is taken"); !strings.Contains(words(a.body), "The rig is booked then: Helmets (ext. 12), "+day+" 08:00 to 12:00.") || !strings.Contains(a.body, `value="Guards"`) {
		t.Errorf("the other booking is not named, or what was typed is gone: %.3000s", words(a.body))
	}
	at = s.manager.form("/bookings", with(guards, "anyway", "the customer is here")).want(t, 303, "booked anyway").header.Get("Location")
	both := see(s.manager, at, "the booking clashes with another one", "Two bookings want the rig at one time", "Helmets (ext. 12), "+day+" 08:00 to 12:00, and Guards, "+day+" 11:00 to 14:00", "clash with Guards", "clash with Helmets (ext. 12)")
	see(s.operator, "/digest", "Booked for the day after", ": "+day+" 08:00 to 12:00, Helmets (ext. 12)", ": "+day+" 11:00 to 14:00, Guards", "Bookings that clash")
	guardsAt := firstBooking(t, both, "Guards")
	see(s.operator, guardsAt, "clash", "the customer is here", "Another booking wants the rig")
	if body := see(s.operator, guardsAt); strings.Contains(body, "Cancel the booking") {
		t.Error("an operator is offered to cancel another's booking")
	}
	s.operator.form(guardsAt+"/cancel", url.Values{"reason": {"mine"}}).want(t, 403, "cancelling another's")
	s.operator.form(guardsAt+"/move", url.Values{"from": guards["from"], "to": guards["to"]}).want(t, 403, "moving another's")
	other.manager.get(helmets).want(t, 404, "another lab's booking")
	other.manager.form(helmets+"/cancel", url.Values{"reason": {"x"}}).want(t, 404, "another lab's booking")

	// Moved onto the other one it stays; moved behind it the clash is gone.
	s.manager.form(guardsAt+"/move", url.Values{"from": guards["from"], "to": {"2020-01-01T00:00"}}).want(t, 422, "moved to the past")
	if a := s.manager.form(guardsAt+"/move", url.Values{"from": {s.tomorrow(9).Format("2006-01-02T15:04")}, "to": guards["to"]}).want(t, 409, "moved onto another"); !strings.Contains(words(a.body), "Helmets (ext. 12)") {
		t.Errorf("moved onto another: %.1500s", words(a.body))
	}
	at = s.manager.form(guardsAt+"/move", url.Values{"from": {s.tomorrow(12).Format("2006-01-02T15:04")}, "to": guards["to"]}).want(t, 303, "moved").header.Get("Location")
	after := see(s.manager, at, "The booking was moved.", "12:00 to 14:00 Guards", "6 h booked")
	if strings.Contains(words(after), "clash with") {
		t.Error("the clash is still told")
	}
	see(s.manager, guardsAt, "cancelled", "moved to "+day+" 12:00 to 14:00")
	see(s.manager, firstBooking(t, after, "Guards"), "from the booking before")
	if a := s.manager.form(guardsAt+"/cancel", url.Values{"reason": {"again"}}).want(t, 409, "cancelled again"); !strings.Contains(words(a.body), "cancelled already") {
		t.Errorf("cancelled again: %.1500s", words(a.body))
	}
	if text := words(see(s.operator, "/digest", "Booked for the day after")); strings.Contains(text, "Bookings that clash") {
		t.Error("the digest tells a clash that is over")
	}
	s.operator.form(helmets+"/cancel", url.Values{}).want(t, 422, "cancelled for no reason")
	at = s.operator.form(helmets+"/cancel", url.Values{"reason": {"helmets are late"}}).want(t, 303, "cancelled").header.Get("Location")
	if body := see(s.operator, at, "The booking was cancelled.", "2 h booked"); strings.Contains(words(body), "to 12:00 Helmets") {
		t.Error("what was cancelled is still in the week")
	}
	see(s.operator, helmets, "cancelled", "helmets are late")
	s.manager.get("/bookings?rig="+s.Rig.String()+"&day=14.3.2031").want(t, 422, "no date")
	s.manager.get("/bookings?rig="+uuid.NewString()).want(t, 404, "no rig")
	s.manager.get("/bookings?rig=x").want(t, 404, "no rig")
	s.manager.get("/bookings/"+uuid.NewString()).want(t, 404, "no booking")

	// As a table, with what was cancelled.
	file := "/bookings.csv?" + url.Values{"from": {day}, "to": {day}}.Encode()
	lines, err := csv.NewReader(strings.NewReader(s.manager.get(file).want(t, 200, file).body)).ReadAll()
	if err != nil || len(lines) != 4 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	for i, want := range []string{"Helmets,cancelled,4.000", "Guards,cancelled,3.000", "Guards,booked,2.000"} {
		if got := lines[i+1][6] + "," + lines[i+1][10] + "," + lines[i+1][5]; got != want || lines[i+1][1] != s.name {
			t.Errorf("line %d has %s of %s, want %s", i+1, got, lines[i+1][1], want)
		}
	}
	if got := lines[1][3]; got != s.tomorrow(8).Format(time.RFC3339) {
		t.Errorf("it begins %s", got)
	}
	if body := other.manager.get(file).want(t, 200, "another lab's file").body; strings.Count(body, "\n") != 1 {
		t.Errorf("another lab's file: %s", body)
	}
	for _, bad := range []string{"", "?from=2026-01-01", "?from=2026-02-01&to=2026-01-01", "?from=2024-01-01&to=2026-01-01"} {
		s.manager.get("/bookings.csv"+bad).want(t, 422, "/bookings.csv"+bad)
	}
}

// Booked on the server and on a node that was apart from it: after they have
// exchanged both show the clash, and after one booking was cancelled neither does.
func TestClashOfTwoNodes(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Linden", 1)
	away := labtest.ID("booked away")
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, away, &lab.Booking{Rig: s.Rig, From: lab.At(s.tomorrow(9)), To: lab.At(s.tomorrow(13)), Department: "Away"}))
	at := s.manager.form("/bookings", s.booking(8, 12, "Home")).want(t, 303, "a booking").header.Get("Location")
	reader := view.New().Reader(s.agent.Store)
	agent := func() []view.BookingRow {
		t.Helper()
		rows, err := reader.Bookings(t.Context(), scope.Labs(s.id), view.BookingFilter{From: lab.At(s.tomorrow(0)), To: lab.At(s.tomorrow(24)), Rig: s.Rig})
		if err != nil {
			t.Fatal(err)
		}
		return rows
	}
	if rows := agent(); len(rows) != 1 || len(rows[0].Clashes) != 0 || strings.Contains(words(s.manager.get(at).body), "clash with") {
		t.Fatalf("before they exchange: %+v", rows)
	}
	s.sync()
	body := s.manager.get(s.week("")).want(t, 200, "the week").body
	if text := words(body); !strings.Contains(text, "clash with Away") || !strings.Contains(text, "clash with Home") {
		t.Errorf("the server does not tell: %.2500s", text)
	}
	if rows := agent(); len(rows) != 2 || len(rows[0].Clashes) != 1 || rows[0].Clashes[0].ID != away || len(rows[1].Clashes) != 1 {
		t.Errorf("the node does not tell: %+v", rows)
	}
	s.manager.form("/bookings/"+away.String()+"/cancel", url.Values{"reason": {"agreed"}}).want(t, 303, "cancelled")
	s.sync()
	if rows := agent(); len(rows) != 1 || len(rows[0].Clashes) != 0 || rows[0].Booking.Department != "Home" {
		t.Errorf("the node has after one was cancelled: %+v", rows)
	}
	if id := path.Base(firstBooking(t, s.manager.get(s.week("")).body, "Home")); id != agent()[0].ID.String() {
		t.Errorf("the server shows %s", id)
	}
}

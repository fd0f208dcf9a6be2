package server_test

import (
	"net/url"
	"os/exec"
	"path"
	"regexp"
	"strings"
	"testing"
)

// feedOf makes a secret link of a person and gives its token.
func feedOf(t *testing.T, p *person) string {
	t.Helper()
	m := regexp.MustCompile(`/calendar/([A-Z2-7]{40})/bookings\.ics`).FindStringSubmatch(p.form("/health/feed", nil).want(t, 200, "a new link").body)
	if m == nil {
		t.Fatal("no link of bookings is shown")
	}
	return m[1]
}

// The bookings as a calendar, read back by Debian's python3-icalendar, an
// independent implementation of RFC 5545: times, status, and the same UID after
// it was cancelled; a link shows only what its person may see.
func TestBookingFeed(t *testing.T) {
	t.Parallel()
	w := start(t)
	s, other := w.open("Aspen", 1), w.open("Yarrow", 1)
	at := s.manager.form("/bookings", with(s.booking(8, 12, "Helmets; first, of two"), "who", "ext. 12", "note", "cold\\chamber")).want(t, 303, "a booking").header.Get("Location")
	id := path.Base(firstBooking(t, s.manager.get(at).body, "Helmets; first, of two"))
	token, foreign := feedOf(t, s.operator), feedOf(t, other.operator)
	feed := "/calendar/" + token + "/bookings.ics"
	read := func(query string) string {
		t.Helper()
		a := w.stranger().get(feed+query).want(t, 200, "the feed")
		if got := a.header.Get("Content-Type"); got != "text/calendar; charset=utf-8" {
			t.Errorf("the feed is of type %s", got)
		}
		const script = `
import sys, datetime
from icalendar import Calendar
raw = sys.stdin.buffer.read()
assert raw.endswith(b"\r\n") and all(len(l) <= 75 for l in raw.split(b"\r\n")), "lines of 75 octets, RFC 5545 3.1"
cal = Calendar.from_ical(raw)
for e in cal.walk("VEVENT"):
    assert not e.errors, e.errors
    assert e.decoded("DTSTART").utcoffset() == datetime.timedelta(0)
    print("|".join([e["UID"], e.decoded("DTSTART").isoformat(), e.decoded("DTEND").isoformat(), e["STATUS"], e["SUMMARY"], e.get("DESCRIPTION", "").replace("\n", "/")]))
`
		cmd := exec.CommandContext(t.Context(), "/usr/bin/python3", "-c", script)
		cmd.Stdin = strings.NewReader(a.body)
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("python3-icalendar does not take the calendar (make test-tools installs it): %v\n%s", err, out)
		}
		return string(out)
	}
	line := func(state, more string) string {
		iso := func(h int) string { return s.tomorrow(h).UTC().Format("2006-01-02T15:04:05+00:00") }
		return "booking-" + id + "@thudbook|" + iso(8) + "|" + iso(12) + "|" + state + "|" + s.rigName() + ": Helmets; first, of two|Ask: ext. 12/cold\\chamber" + more + "\n"
	}
	if got, want := read(""), line("CONFIRMED", ""); got != want {
		t.Errorf("read back %q, want %q", got, want)
	}
	if got := read("?rig=" + s.Rig.String()); got != line("CONFIRMED", "") {
		t.Errorf("of the rig %q", got)
	}
	if body := w.stranger().get("/calendar/"+foreign+"/bookings.ics").want(t, 200, "another lab's").body; strings.Contains(body, "VEVENT") {
		t.Errorf("another lab's feed: %s", body)
	}
	for _, bad := range []string{"/calendar/" + foreign + "/bookings.ics?rig=" + s.Rig.String(), feed + "?rig=x", "/calendar/NONE/bookings.ics", "/calendar/" + token + "/other.ics"} {
		w.stranger().get(bad).want(t, 404, bad)
	}
	s.manager.form("/bookings/"+id+"/cancel", url.Values{"reason": {"late"}}).want(t, 303, "cancelled")
	if got, want := read(""), line("CANCELLED", "/Cancelled: late"); got != want {
		t.Errorf("after it was cancelled %q, want %q", got, want)
	}
	old := token
	feedOf(t, s.operator)
	w.stranger().get("/calendar/"+old+"/bookings.ics").want(t, 404, "the link before")
}

func (s *site) rigName() string {
	for _, r := range into[[]struct{ ID, Name string }](s.w.t, s.manager.get("/api/v1/labs/"+s.id.String()+"/rigs")) {
		if r.ID == s.Rig.String() {
			return r.Name
		}
	}
	s.w.t.Fatal("the rig is not listed")
	return ""
}

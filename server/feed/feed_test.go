package feed_test

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"thudbook/server/feed"
	"thudbook/sync/lab/labtest"
)

// The forms are those of RFC 5545: lines end in CRLF and hold at most 75 octets
// (3.1), text is escaped (3.3.11), a day's end is the day after (3.6.1).
func TestCalendarByHand(t *testing.T) {
	var b bytes.Buffer
	on := time.Date(2026, 12, 31, 0, 0, 0, 0, time.FixedZone("", 3600))
	err := feed.Calendar(&b, "Due dates", "Lab", time.Date(2026, 11, 25, 9, 30, 0, 0, time.FixedZone("", 3600)), []feed.Event{
		{UID: "service-1@thudbook", On: on, Summary: `ram; one, a\b`, Description: "first\nsecond " + strings.Repeat("é", 40), URL: "https://thudbook.example/equipment/use/1"}})
	if err != nil {
		t.Fatal(err)
	}
	// "DESCRIPTION:first\nsecond " are 26 octets; 24 of the two-octet letters make 74, a 25th would make 76.
	want := "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Thudbook//Due dates//EN\r\nCALSCALE:GREGORIAN\r\nX-WR-CALNAME:Lab\r\n" +
		"BEGIN:VEVENT\r\nUID:service-1@thudbook\r\nDTSTAMP:20261125T083000Z\r\nDTSTART;VALUE=DATE:20261231\r\nDTEND;VALUE=DATE:20270101\r\n" +
		`SUMMARY:ram\; one\, a\\b` + "\r\n" + `DESCRIPTION:first\nsecond ` + strings.Repeat("é", 24) + "\r\n " + strings.Repeat("é", 16) + "\r\n" +
		"URL:https://thudbook.example/equipment/use/1\r\nTRANSP:TRANSPARENT\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
	if b.String() != want {
		t.Errorf("\n got %q\nwant %q", b.String(), want)
	}
}

// A span has its times in UTC (RFC 5545, 3.3.5, form 2) and a status (3.8.1.11).
func TestSpanByHand(t *testing.T) {
	var b bytes.Buffer
	from := time.Date(2026, 10, 25, 0, 30, 0, 0, time.FixedZone("", 2*3600))
	at := time.Date(2026, 10, 1, 12, 0, 0, 0, time.UTC)
	err := feed.Calendar(&b, "Bookings", "Rig", at, []feed.Event{{UID: "a", From: from, To: from.Add(5 * time.Hour), Summary: "S"}, {UID: "b", From: from, To: from.Add(time.Minute), Summary: "S", Cancelled: true}})
	if err != nil {
		t.Fatal(err)
	}
	event := func(uid, end, status string) string {
		return "BEGIN:VEVENT\r\nUID:" + uid + "\r\nDTSTAMP:20261001T120000Z\r\nDTSTART:20261024T223000Z\r\nDTEND:" + end + "\r\nSTATUS:" + status + "\r\nSUMMARY:S\r\nTRANSP:TRANSPARENT\r\nEND:VEVENT\r\n"
	}
	want := "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Thudbook//Bookings//EN\r\nCALSCALE:GREGORIAN\r\nX-WR-CALNAME:Rig\r\n" +
		event("a", "20261025T033000Z", "CONFIRMED") + event("b", "20261024T223100Z", "CANCELLED") + "END:VCALENDAR\r\n"
	if b.String() != want {
		t.Errorf("\n got %q\nwant %q", b.String(), want)
	}
}

// Any text keeps to the lines' bounds, never cuts a character, and comes back
// when it is unfolded and unescaped.
func TestTextSurvives(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.String().Draw(rt, "text")
		var b bytes.Buffer
		if err := feed.Calendar(&b, "Due dates", "", time.Unix(0, 0), []feed.Event{{UID: "x", On: time.Unix(0, 0), Summary: text}}); err != nil {
			rt.Fatal(err)
		}
		for _, line := range strings.Split(b.String(), "\r\n") {
			if len(line) > 75 || !utf8.ValidString(line) || strings.ContainsAny(line, "\r\n\x00\x1b") {
				rt.Fatalf("the line %q", line)
			}
		}
		_, rest, _ := strings.Cut(strings.ReplaceAll(b.String(), "\r\n ", ""), "SUMMARY:")
		value, _, _ := strings.Cut(rest, "\r\n")
		got := strings.NewReplacer(`\\`, `\`, `\;`, ";", `\,`, ",", `\n`, "\n").Replace(value)
		want := strings.Map(func(r rune) rune {
			if r < ' ' && r != '\t' && r != '\n' || r == 0x7f {
				return ' '
			}
			return r
		}, strings.ReplaceAll(strings.ReplaceAll(text, "\r\n", "\n"), "\r", "\n"))
		if got != want {
			rt.Fatalf("%q comes back as %q", want, got)
		}
	})
}

// A new link ends the one before, and opens only its own account.
func TestLinks(t *testing.T) {
	n := labtest.Open(t)
	at := labtest.Start()
	s := feed.Open(n.Store, func() time.Time { return at })
	a, b := labtest.ID("a"), labtest.ID("b")
	first, err := s.New(t.Context(), a)
	if err != nil {
		t.Fatal(err)
	}
	second, err := s.New(t.Context(), a)
	if err != nil {
		t.Fatal(err)
	}
	other, err := s.New(t.Context(), b)
	if err != nil {
		t.Fatal(err)
	}
	if _, ok, err := s.Account(t.Context(), first); ok || err != nil {
		t.Errorf("the link before still opens, %v", err)
	}
	if got, ok, err := s.Account(t.Context(), second); !ok || got != a || err != nil {
		t.Errorf("the new link: %s, %v, %v", got, ok, err)
	}
	if got, ok, err := s.Account(t.Context(), other); !ok || got != b || err != nil {
		t.Errorf("the other's link: %s, %v, %v", got, ok, err)
	}
	for _, bad := range []string{"", "x", second[:39], second + "A", strings.ToLower(second)} {
		if _, ok, err := s.Account(t.Context(), bad); ok || err != nil {
			t.Errorf("%q opens an account, %v", bad, err)
		}
	}
	if got, err := s.Since(t.Context(), a); err != nil || !got.Equal(at) {
		t.Errorf("made at %s, %v", got, err)
	}
	if got, err := s.Since(t.Context(), labtest.ID("none")); err != nil || !got.IsZero() {
		t.Errorf("no link since %s, %v", got, err)
	}
}

package feed

import (
	"bytes"
	"io"
	"strings"
	"time"
	"unicode/utf8"
)

// Event is one day in a calendar, or with From and To a span of time.
type Event struct {
	UID         string // the same as long as it is the same thing
	On          time.Time
	From, To    time.Time // zero: the event is the day On
	Cancelled   bool
	Summary     string
	Description string
	URL         string
}

// Calendar writes events as an iCalendar stream, RFC 5545. Days block no time of
// the reader, and spans neither: it is the rig that is busy. product says in the
// PRODID what the events are; stamp is when it is made (DTSTAMP, section 3.8.7.2).
func Calendar(w io.Writer, product, name string, stamp time.Time, events []Event) error {
	var b bytes.Buffer
	put := func(property, value string) { fold(&b, property+":"+value) }
	put("BEGIN", "VCALENDAR")
	put("VERSION", "2.0")
	put("PRODID", "-//Thudbook//"+product+"//EN")
	put("CALSCALE", "GREGORIAN")
	put("X-WR-CALNAME", text(name))
	for _, e := range events {
		put("BEGIN", "VEVENT")
		put("UID", text(e.UID))
		put("DTSTAMP", stamp.UTC().Format(utc))
		if e.From.IsZero() {
			put("DTSTART;VALUE=DATE", e.On.Format("20060102"))
			put("DTEND;VALUE=DATE", e.On.AddDate(0, 0, 1).Format("20060102")) // the day after: not included (3.6.1)
		} else {
			put("DTSTART", e.From.UTC().Format(utc)) // in UTC (3.3.5), so that no zone has to be told
			put("DTEND", e.To.UTC().Format(utc))
			status := "CONFIRMED"
			if e.Cancelled {
				status = "CANCELLED"
			}
			put("STATUS", status) // 3.8.1.11
		}
		put("SUMMARY", text(e.Summary))
		if e.Description != "" {
			put("DESCRIPTION", text(e.Description))
		}
		if e.URL != "" {
			put("URL", e.URL)
		}
		put("TRANSP", "TRANSPARENT")
		put("END", "VEVENT")
	}
	put("END", "VCALENDAR")
	_, err := w.Write(b.Bytes())
	return err
}

// utc is a date with UTC time, form 2 of 3.3.5. Milliseconds have no place in it.
const utc = "20060102T150405Z"

// text escapes a TEXT value (3.3.11). Control characters, which no value may
// hold, become spaces.
func text(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, "\ufffd"), "\r\n", "\n")
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\\' || r == ';' || r == ',':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n' || r == '\r':
			b.WriteString(`\n`)
		case r < ' ' && r != '\t' || r == 0x7f:
			b.WriteByte(' ')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// mostOctets is the longest content line, without its end (3.1).
const mostOctets = 75

// fold writes a content line in parts of at most 75 octets, never within a
// character; each part after the first begins with a space (3.1).
func fold(b *bytes.Buffer, line string) {
	for room := mostOctets; len(line) > room; room = mostOctets - 1 {
		cut := room
		for !utf8.RuneStart(line[cut]) {
			cut--
		}
		b.WriteString(line[:cut] + "\r\n ")
		line = line[cut:]
	}
	b.WriteString(line + "\r\n")
}

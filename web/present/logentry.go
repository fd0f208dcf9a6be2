package present

import (
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/web/page"
)

// Entry is a form of the log as it was read: a note, or a service of an item.
type Entry struct {
	Note    *lab.Note
	Service *lab.Service
}

// ReadEntry reads the values of page.LogFields. Faults are by field.
func ReadEntry(v map[string]string, zone *time.Location) (Entry, map[string]string) {
	faults := map[string]string{}
	at, err := readTime(v["effective_at"], zone)
	if err != nil {
		faults["effective_at"] = err.Error()
	}
	var item uuid.UUID
	if v["item"] != "" {
		if item, err = uuid.Parse(v["item"]); err != nil {
			faults["item"] = "Choose one of the list."
		}
	}
	if v["text"] == "" {
		faults["text"] = "This is needed."
	}
	var parts []string
	for line := range strings.Lines(v["parts"]) {
		if line = strings.Join(strings.Fields(line), " "); line != "" {
			parts = append(parts, line)
		}
	}
	if v["topic"] != "service" {
		if !slices.Contains(lab.NoteTopics(), v["topic"]) {
			faults["topic"] = "Choose what the entry is."
		}
		for _, f := range []string{"duration_minutes", "done_by", "counter_strokes"} {
			if v[f] != "" {
				faults[f] = "Only a service has this. Choose “service done”, or write it into the text."
			}
		}
		return Entry{Note: &lab.Note{Topic: v["topic"], EffectiveAt: lab.At(at), Text: v["text"], Item: item, Parts: parts}}, faults
	}
	s := &lab.Service{Item: item, EffectiveAt: lab.At(at), Note: v["text"], Parts: parts, DoneBy: v["done_by"]}
	if item == uuid.Nil && faults["item"] == "" {
		faults["item"] = "A service needs its item."
	}
	if text := v["duration_minutes"]; text != "" {
		m, err := page.ParseDecimal(text)
		if err == nil && (m < 0 || m > 1e6) {
			err = errors.New("give the minutes that it took, as 45")
		}
		if err != nil {
			faults["duration_minutes"] = err.Error()
		}
		s.DurationMinutes = &m
	}
	if text := v["counter_strokes"]; text != "" {
		n, err := strconv.ParseInt(strings.Join(strings.Fields(text), ""), 10, 64)
		if err == nil && n < 0 {
			faults["counter_strokes"] = text + " is below zero. Give zero or more."
		} else if err != nil {
			faults["counter_strokes"] = "“" + text + "” is not a whole number. Write it in digits, as 1000."
		}
		s.CounterStrokes = &n
	}
	return Entry{Service: s}, faults
}

// EntryValues gives an entry as the values of its form.
func EntryValues(e *Entry, zone *time.Location) map[string]string {
	at := func(t lab.Time) string { return t.Time().In(zone).Format(typedTime) }
	if n := e.Note; n != nil {
		return map[string]string{"topic": n.Topic, "effective_at": at(n.EffectiveAt), "item": idText(n.Item), "text": n.Text, "parts": strings.Join(n.Parts, "\n")}
	}
	s := e.Service
	v := map[string]string{"topic": "service", "effective_at": at(s.EffectiveAt), "item": idText(s.Item), "text": s.Note, "parts": strings.Join(s.Parts, "\n"),
		"duration_minutes": plain(s.DurationMinutes), "done_by": s.DoneBy}
	if s.CounterStrokes != nil {
		v["counter_strokes"] = strconv.FormatInt(*s.CounterStrokes, 10)
	}
	return v
}

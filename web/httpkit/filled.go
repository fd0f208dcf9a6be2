package httpkit

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/web/page"
)

// Filled is a posted form with what is wrong with it.
type Filled struct {
	Fields []page.Field
	Key    string // under which it is carried out once
	Values map[string]string
	Errors map[string]string
	Other  []page.Notice // faults that belong to no field
}

// Into shows a form again with what was typed and what is wrong.
func (f *Filled) Into(form *page.Form) {
	if f == nil || f.Fields == nil {
		return
	}
	form.Values, form.Errors = f.Values, f.Errors
	if f.Key != "" {
		form.Key = f.Key
	}
}

// Need notes the required fields that are empty.
func (f *Filled) Need() {
	for _, x := range f.Fields {
		if x.Required && f.Values[x.Name] == "" {
			f.Errors[x.Name] = "This is needed."
		}
	}
}

// Fault notes what is wrong with a field; the first fault of a field stands.
func (f *Filled) Fault(field, format string, args ...any) {
	if f.Errors[field] == "" {
		f.Errors[field] = fmt.Sprintf(format, args...)
	}
}

// OK says that nothing is wrong so far.
func (f *Filled) OK() bool { return len(f.Errors) == 0 }

// Take sorts an error into the fields that it is about. It is false for errors
// that the form cannot mend.
func (f *Filled) Take(err error) (status int, ok bool) {
	all := Problems(err)
	if len(all) == 0 {
		return 0, false
	}
	for _, p := range all {
		switch p.Code {
		case problem.Invalid, problem.Conflict:
		default:
			return 0, false
		}
		status = max(status, Status(p.Code))
		text := Sentence(p)
		if name := f.fieldOf(p.Where); name != "" {
			f.Fault(name, "%s", text)
		} else if len(f.Errors) == 0 {
			f.Other = append(f.Other, page.Notice{Level: page.Bad, Text: "Not saved: " + p.What, Where: placeInForm(p.Where), Fix: p.Fix})
		}
	}
	return status, true
}

// placeInForm says a place; the name of a field that the form does not have
// tells its reader nothing.
func placeInForm(where string) string {
	if strings.Trim(where, "abcdefghijklmnopqrstuvwxyz_") == "" {
		return ""
	}
	return PlaceWords(where)
}

// fieldOf finds the field that a place such as "calibration, due_at" names.
func (f *Filled) fieldOf(where string) string {
	for part := range strings.SplitSeq(where, ", ") {
		for _, x := range f.Fields {
			if part == x.Name || strings.EqualFold(part, x.Label) {
				return x.Name
			}
		}
	}
	return ""
}

// Sentence is a problem with its next step, in capitals and full stops.
func Sentence(p *problem.Error) string { return Finish(p.What) + " " + Finish(p.Fix) }

// Finish gives a text its capital and its full stop.
func Finish(s string) string {
	if s == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(s)
	return Stop(string(unicode.ToUpper(r)) + s[n:])
}

// Stop gives a text its full stop. It may begin with a name, which stays as it is.
func Stop(s string) string {
	if s == "" || strings.HasSuffix(s, ".") || strings.HasSuffix(s, "?") {
		return s
	}
	return s + "."
}

// Number reads an optional number; nil when the field is empty.
func (f *Filled) Number(field string) *float64 {
	text := f.Values[field]
	if text == "" {
		return nil
	}
	v, err := page.ParseDecimal(text)
	if err != nil {
		f.Fault(field, "%s", err)
		return nil
	}
	return &v
}

// Count reads an optional whole number; 0 when the field is empty.
func (f *Filled) Count(field string) int64 {
	text := f.Values[field]
	if text == "" {
		return 0
	}
	n, err := strconv.ParseInt(strings.Map(noSpace, text), 10, 64)
	if err == nil && n < 0 {
		f.Fault(field, "%s is below zero. Give zero or more.", text)
		return 0
	}
	if err != nil {
		f.Fault(field, "“%s” is not a whole number. Write it in digits, as 1000.", text)
		return 0
	}
	return n
}

func noSpace(r rune) rune {
	if r == ' ' || r == '\u00a0' || r == '\u202f' {
		return -1
	}
	return r
}

// Lines reads a list with one entry a line; the same entry twice counts once.
func (f *Filled) Lines(field string) []string {
	var out []string
	for line := range strings.Lines(f.Values[field]) {
		line = strings.Join(strings.Fields(line), " ")
		if line != "" && !slices.ContainsFunc(out, func(s string) bool { return lab.Fold(s) == lab.Fold(line) }) {
			out = append(out, line)
		}
	}
	return out
}

// Moment reads a date, or a date with a time of day, in a zone; the zero time
// when the field is empty. now shows in the message how to write it.
func (f *Filled) Moment(field string, now time.Time) time.Time {
	text := f.Values[field]
	if text == "" {
		return time.Time{}
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04", time.DateOnly} {
		if t, err := time.ParseInLocation(layout, text, now.Location()); err == nil {
			return t
		}
	}
	f.Fault(field, "“%s” is not a date. Write it as %s.", text, now.Format(time.DateOnly))
	return time.Time{}
}

// Day reads a date; ok is false when the field is empty or no date. now shows in
// the message how to write it.
func (f *Filled) Day(field string, now time.Time) (d lab.Date, ok bool) {
	t := f.Moment(field, now.In(time.UTC))
	return lab.DateOf(t), !t.IsZero()
}

// Past is Moment for what has happened already.
func (f *Filled) Past(field string, now time.Time) time.Time {
	t := f.Moment(field, now)
	if t.After(now.Add(10 * time.Minute)) {
		f.Fault(field, "This lies in the future. Give the time at which it was done.")
	}
	return t
}

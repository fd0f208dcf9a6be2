package desk

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// filled is a posted form with what is wrong with it.
type filled struct {
	fields []page.Field
	key    string
	values map[string]string
	errors map[string]string
	other  []page.Notice // faults that belong to no field
}

// newKey is the key under which a form is carried out once.
func newKey() string { return rand.Text() }

// blank is a form that was not filled yet.
func blank(fields []page.Field, action, id, submit string) page.Form {
	return page.Form{Action: action, Key: newKey(), Fields: fields, ID: id, Submit: submit}
}

// into shows a form again with what was typed and what is wrong.
func (f *filled) into(form *page.Form) {
	if f == nil || f.fields == nil {
		return
	}
	form.Values, form.Errors = f.values, f.errors
	if f.key != "" {
		form.Key = f.key
	}
}

// post runs a form: do reads the values, writes, and says where to go then. Its
// faults of the input are shown by again, on the same screen, with what was
// typed. The same values under the same key are carried out once.
func (d *Desk) post(c echo.Context, fields []page.Field, do func(context.Context, *filled) (string, error), again func(echo.Context, *filled, int) error) error {
	if err := c.Request().ParseForm(); err != nil {
		if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
			return tooLarge
		}
		return &problem.Error{Code: problem.Invalid, What: "The form cannot be read.", Fix: "Go back, reload the page and fill it in again.", Err: err}
	}
	posted := c.Request().PostForm
	f := &filled{fields: fields, key: posted.Get(page.KeyField), values: page.Typed(posted, fields), errors: map[string]string{}}
	whom := door.Of(c).ID
	sum := sha256.Sum256([]byte(posted.Encode()))
	to, err := d.once.do(c.Request().Context(), whom.String()+" "+c.Request().URL.Path+" "+string(sum[:]), f.key != "", func(ctx context.Context) (string, error) {
		f.need()
		to, err := do(ctx, f)
		if err == nil && len(f.errors) > 0 {
			err = problem.New(problem.Invalid, "The form is not complete.", "Mend what is marked.")
		}
		return to, err
	})
	if err == nil {
		d.keys.drop(whom, c.Path())
		return httpkit.SeeOther(c, to)
	}
	status, ok := f.take(err)
	if !ok {
		return err
	}
	return again(c, f, status)
}

// need notes the required fields that are empty.
func (f *filled) need() {
	for _, x := range f.fields {
		if x.Required && f.values[x.Name] == "" {
			f.errors[x.Name] = "This is needed."
		}
	}
}

// fault notes what is wrong with a field; the first fault of a field stands.
func (f *filled) fault(field, format string, args ...any) {
	if f.errors[field] == "" {
		f.errors[field] = fmt.Sprintf(format, args...)
	}
}

// ok says that nothing is wrong so far.
func (f *filled) ok() bool { return len(f.errors) == 0 }

// take sorts an error into the fields that it is about. It is false for errors
// that the form cannot mend.
func (f *filled) take(err error) (status int, ok bool) {
	all := httpkit.Problems(err)
	if len(all) == 0 {
		return 0, false
	}
	for _, p := range all {
		switch p.Code {
		case problem.Invalid, problem.Conflict:
		default:
			return 0, false
		}
		status = max(status, httpkit.Status(p.Code))
		text := sentence(p)
		if name := f.fieldOf(p.Where); name != "" {
			f.fault(name, "%s", text)
		} else if len(f.errors) == 0 {
			f.other = append(f.other, page.Notice{Level: page.Bad, Text: "Not saved: " + p.What, Where: p.Where, Fix: p.Fix})
		}
	}
	return status, true
}

// fieldOf finds the field that a place such as "calibration, due_at" names.
func (f *filled) fieldOf(where string) string {
	for part := range strings.SplitSeq(where, ", ") {
		for _, x := range f.fields {
			if part == x.Name || strings.EqualFold(part, x.Label) {
				return x.Name
			}
		}
	}
	return ""
}

// sentence is a problem with its next step, in capitals and full stops.
func sentence(p *problem.Error) string { return finish(p.What) + " " + finish(p.Fix) }

func finish(s string) string {
	if s == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(s)
	s = string(unicode.ToUpper(r)) + s[n:]
	if !strings.HasSuffix(s, ".") && !strings.HasSuffix(s, "?") {
		s += "."
	}
	return s
}

// number reads an optional number; nil when the field is empty.
func (f *filled) number(field string) *float64 {
	text := f.values[field]
	if text == "" {
		return nil
	}
	v, err := page.ParseDecimal(text)
	if err != nil {
		f.fault(field, "%s", err)
		return nil
	}
	return &v
}

// count reads an optional whole number; 0 when the field is empty.
func (f *filled) count(field string) int64 {
	text := f.values[field]
	if text == "" {
		return 0
	}
	n, err := strconv.ParseInt(strings.Map(noSpace, text), 10, 64)
	if err != nil || n < 0 {
		f.fault(field, "“%s” is not a whole number. Write it in digits, as 1000.", text)
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

// lines reads a list with one entry a line; the same entry twice counts once.
func (f *filled) lines(field string) []string {
	var out []string
	for line := range strings.Lines(f.values[field]) {
		line = strings.Join(strings.Fields(line), " ")
		if line != "" && !slices.ContainsFunc(out, func(s string) bool { return lab.Fold(s) == lab.Fold(line) }) {
			out = append(out, line)
		}
	}
	return out
}

// moment reads a date, or a date with a time of day, in the zone of the screens.
func (d *Desk) moment(f *filled, field string) time.Time {
	text := f.values[field]
	if text == "" {
		return time.Time{}
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04", time.DateOnly} {
		if t, err := time.ParseInLocation(layout, text, d.zone); err == nil {
			return t
		}
	}
	f.fault(field, "“%s” is not a date. Write it as %s.", text, d.Now().In(d.zone).Format(time.DateOnly))
	return time.Time{}
}

// past is moment for what has happened already.
func (d *Desk) past(f *filled, field string) lab.Time {
	t := d.moment(f, field)
	if t.After(d.Now().Add(10 * time.Minute)) {
		f.fault(field, "This lies in the future. Give the time at which it was done.")
	}
	return lab.At(t)
}

// done is a path with the word for what was done, which the screen then says.
func done(path, what string) string { return path + "?" + url.Values{"done": {what}}.Encode() }

// said puts the outcome of the last form on the screen.
func said(c echo.Context, f *page.Frame, texts map[string]string) {
	if text, ok := texts[c.QueryParam("done")]; ok {
		f.Notices = append([]page.Notice{{Level: page.OK, Text: text}}, f.Notices...)
	}
}

// renamed puts the faults of one place at another.
func renamed(err error, from, to string) error {
	for _, p := range httpkit.Problems(err) {
		if p.Where == from {
			p.Where = to
		}
	}
	return err
}

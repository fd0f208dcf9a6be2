package lab

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"unicode/utf8"

	"github.com/google/uuid"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Bounds of what one fact may hold; a record is at most record.MaxBytes.
const (
	MaxText  = 200  // characters of one text field
	MaxNote  = 2000 // characters of a note or reason
	MaxExtra = 64   // entries of Meta.Extra
)

// checks gathers the faults of one body.
type checks struct {
	what record.Kind
	errs []error
}

func (c *checks) add(field, what, fix string) {
	e := problem.New(problem.Invalid, what, fix)
	e.Where = string(c.what) + ", " + field
	c.errs = append(c.errs, e)
}

func (c *checks) err() error { return errors.Join(c.errs...) }

func (c *checks) id(field string, id uuid.UUID) {
	if id == uuid.Nil {
		c.add(field, "the id is missing", "name what the fact is about")
	}
}

func (c *checks) hash(field string, h record.Hash) {
	if h == (record.Hash{}) {
		c.add(field, "the SHA-256 sum is missing", "store the bytes first and name their sum")
	}
}

func (c *checks) text(field, s string, most int) {
	if !utf8.ValidString(s) {
		c.add(field, "the text is not UTF-8", "convert the text to UTF-8")
	} else if n := utf8.RuneCountInString(s); n > most {
		c.add(field, fmt.Sprintf("the text has %d characters, the most is %d", n, most), "shorten it, or attach it as a file")
	}
}

func (c *checks) needText(field, s string, most int) {
	if s == "" {
		c.add(field, "the text is missing", "fill in the field")
	}
	c.text(field, s, most)
}

// when checks an instant that must be there.
func (c *checks) when(field string, t Time) {
	if t == 0 {
		c.add(field, "the time is missing", "say when it took effect, with a time zone")
		return
	}
	c.optionalWhen(field, t)
}

func (c *checks) optionalWhen(field string, t Time) {
	if t == 0 {
		return
	}
	if y := t.Time().Year(); y < 1900 || y > 2200 {
		c.add(field, fmt.Sprintf("the year %d is out of reach", y), "give a date between 1900 and 2200")
	}
}

func (c *checks) oneOf(field, s string, allowed ...string) {
	if slices.Contains(allowed, s) {
		return
	}
	c.add(field, fmt.Sprintf("%q is not one of %q", s, allowed), "choose one of them")
}

// number checks an optional value against closed bounds.
func (c *checks) number(field string, v *float64, lo, hi float64) {
	if v == nil {
		return
	}
	if math.IsNaN(*v) || *v < lo || *v > hi {
		c.add(field, fmt.Sprintf("%g is outside %g to %g", *v, lo, hi), "check the number and its unit")
	}
}

func (c *checks) count(field string, n int64) {
	if n < 0 {
		c.add(field, fmt.Sprintf("the count %d is negative", n), "give zero or more")
	}
}

// fileName is shown, never opened: any text is taken, cut names are refused.
func (c *checks) fileName(field, s string) {
	if s == "" {
		c.add(field, "the file name is missing", "keep the name that the acquisition gave")
	}
	c.text(field, s, 1024)
}

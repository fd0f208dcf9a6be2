// Package fault describes what is wrong with data that came from outside: one
// place, one sentence, one next step. It is the error type of everything below
// metrics; it never holds the data itself.
package fault

import (
	"errors"
	"fmt"
	"strings"
)

// Code names a kind of fault. Codes are part of the outside contract: add, never rename.
type Code string

// The codes of faults in acquisition files and channel maps.
const (
	Empty         Code = "empty_file"
	NoHeader      Code = "no_header"
	NoData        Code = "no_data"
	BadMap        Code = "bad_map"
	MissingColumn Code = "missing_column"
	TimeColumn    Code = "time_column"
	TimeBackwards Code = "time_backwards"
	RowWidth      Code = "row_width"
	BadNumber     Code = "bad_number"
	NotFinite     Code = "not_finite"
	Truncated     Code = "truncated_row"
	TooLarge      Code = "too_large"
	Unreadable    Code = "unreadable"
)

// Error is one fault with its place. Line and Column count from 1; zero means
// that it does not apply.
type Error struct {
	Code    Code   `json:"code"`
	What    string `json:"what"`
	Line    int    `json:"line,omitempty"`
	Column  int    `json:"column,omitempty"`
	Channel string `json:"channel,omitempty"`
	Fix     string `json:"fix"`
	Err     error  `json:"-"`
}

// Error gives the sentence, the place and the fix on one line.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.What)
	if p := e.Place(); p != "" {
		fmt.Fprintf(&b, " (%s)", p)
	}
	if e.Fix != "" {
		fmt.Fprintf(&b, "; %s", e.Fix)
	}
	return b.String()
}

// Place says where, as far as it is known: "line 812, column 3, channel ax".
func (e *Error) Place() string {
	var parts []string
	if e.Line > 0 {
		parts = append(parts, fmt.Sprintf("line %d", e.Line))
	}
	if e.Column > 0 {
		parts = append(parts, fmt.Sprintf("column %d", e.Column))
	}
	if e.Channel != "" {
		parts = append(parts, "channel "+e.Channel)
	}
	return strings.Join(parts, ", ")
}

// Unwrap gives the cause, for the log.
func (e *Error) Unwrap() error { return e.Err }

// As finds the fault in an error chain.
func As(err error) (*Error, bool) { return errors.AsType[*Error](err) }

// Package problem is the error that a person reads: what happened, where, and
// what to do next. Errors without a code are internal: they are logged whole
// and shown as one neutral sentence.
package problem

import (
	"errors"
	"net/http"
	"strings"

	"thudbook/metrics/fault"
)

// Code names a kind of problem. Codes cross the wire: add, never rename.
type Code string

// The codes, by who has to act.
const (
	Invalid         Code = "invalid"         // the caller: mend the input
	NotFound        Code = "not_found"       // the caller: nothing there, or no right to know of it
	Conflict        Code = "conflict"        // the caller: read again, then decide
	Unauthenticated Code = "unauthenticated" // the caller: sign in or enrol
	Forbidden       Code = "forbidden"       // an administrator: grant a right
	TooLarge        Code = "too_large"       // the caller: send less at once
	Unavailable     Code = "unavailable"     // wait, or free space, or restore the network
	NoSpace         Code = "no_space"        // a person: free space on the disk
	Damaged         Code = "damaged"         // a person: stored bytes are not what was written
	Forked          Code = "forked"          // a person: two histories under one name
	Internal        Code = "internal"        // the developers
)

// Error is one problem in the words of the person who meets it.
type Error struct {
	Code  Code
	What  string // one sentence
	Where string // "shot.csv line 812, channel ax"
	Fix   string // what to do next
	Err   error  // cause, for the log
}

// New makes a problem of a code, a sentence and a next step.
func New(code Code, what, fix string) *Error {
	return &Error{Code: code, What: what, Fix: fix}
}

// Error gives what, where, fix and cause on one line.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.What)
	if e.Where != "" {
		b.WriteString(" (" + e.Where + ")")
	}
	if e.Fix != "" {
		b.WriteString("; " + e.Fix)
	}
	if e.Err != nil {
		b.WriteString(": " + e.Err.Error())
	}
	return b.String()
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// Of gives the code of an error chain: Internal where none is carried.
func Of(err error) Code {
	if p, ok := errors.AsType[*Error](err); ok {
		return p.Code
	}
	if _, ok := fault.As(err); ok {
		return Invalid
	}
	return Internal
}

// Status is the HTTP status of a code, for screens and API. The exchange between
// nodes differs in two codes; see sync/httppeer.
func Status(c Code) int {
	switch c {
	case Invalid:
		return http.StatusUnprocessableEntity
	case NotFound:
		return http.StatusNotFound
	case Conflict, Forked:
		return http.StatusConflict
	case Unauthenticated:
		return http.StatusUnauthorized
	case Forbidden:
		return http.StatusForbidden
	case TooLarge:
		return http.StatusRequestEntityTooLarge
	case Unavailable:
		return http.StatusServiceUnavailable
	case NoSpace:
		return http.StatusInsufficientStorage
	default:
		return http.StatusInternalServerError
	}
}

// As finds the problem in an error chain.
func As(err error) (*Error, bool) { return errors.AsType[*Error](err) }

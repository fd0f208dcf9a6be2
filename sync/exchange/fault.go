package exchange

import (
	"errors"
	"fmt"
	"time"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Reason says how a batch failed to fit a chain. Reasons cross the wire.
type Reason string

// The reasons.
const (
	Gap  Reason = "gap"  // records between the head and the batch are missing
	Fork Reason = "fork" // another record already stands at that place
)

// HeadError says that a batch does not continue the other side's chain, and
// where that chain really ends.
type HeadError struct {
	Reason Reason
	Origin record.Origin
	Head   record.Head
	Err    error
}

// Error says what and where.
func (e *HeadError) Error() string { return e.problem().Error() }

// Unwrap gives the problem: a gap is mended by sending from Head on, a fork by
// nobody but a person.
func (e *HeadError) Unwrap() []error {
	if e.Err == nil {
		return []error{e.problem()}
	}
	return []error{e.problem(), e.Err}
}

func (e *HeadError) problem() *problem.Error {
	where := fmt.Sprintf("chain %s, which ends at %d there", e.Origin, e.Head.Seq)
	if e.Reason == Fork {
		return &problem.Error{Code: problem.Forked, Where: where,
			What: "Two different histories exist under one name: this data folder was restored from a backup or copied.",
			Fix:  "Nothing is lost: what only this side has goes on in a new chain by itself, and every shot counts once. If a copy of this folder runs elsewhere, stop that one, and tell the administrator."}
	}
	return &problem.Error{Code: problem.Conflict, Where: where,
		What: "The records do not follow what the other side holds.",
		Fix:  "They are sent again from the right place; nothing needs to be done."}
}

// asHeadError finds a HeadError in an error chain.
func asHeadError(err error) (*HeadError, bool) { return errors.AsType[*HeadError](err) }

func forbidden(what string) error {
	return problem.New(problem.Forbidden, what,
		"An administrator can enrol the agent for the lab, or give it a code of its own.")
}

// OffsetError says that a part does not follow what the other side has of an
// attachment, and how much that is.
type OffsetError struct {
	Offset int64
	Err    error
}

// Error says where to go on.
func (e *OffsetError) Error() string { return e.problem().Error() }

// Unwrap gives a problem with code conflict.
func (e *OffsetError) Unwrap() []error {
	if e.Err == nil {
		return []error{e.problem()}
	}
	return []error{e.problem(), e.Err}
}

func (e *OffsetError) problem() *problem.Error {
	return &problem.Error{Code: problem.Conflict, What: fmt.Sprintf("The attachment goes on at byte %d there.", e.Offset),
		Fix: "It is sent from there; nothing needs to be done."}
}

// WaitError says that the other side is busy, and when to come again.
type WaitError struct {
	After   time.Duration
	TooMany bool  // the caller asks too often; false: there is too much to do
	Err     error // carries a problem
}

// Error is that of the problem.
func (e *WaitError) Error() string { return e.Err.Error() }

// Unwrap gives the problem.
func (e *WaitError) Unwrap() error { return e.Err }

// WaitOf gives the time that an error asks to wait for; 0: it asks for none.
func WaitOf(err error) time.Duration {
	if w, ok := errors.AsType[*WaitError](err); ok {
		return w.After
	}
	return 0
}

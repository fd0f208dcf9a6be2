package kv

import "errors"

// ErrUnknown marks a commit whose outcome is not known: the store has closed
// itself to writes until it is opened again.
var ErrUnknown = errors.New("outcome of the commit is unknown")

// ErrEmptyValue is returned by Put for an empty value.
var ErrEmptyValue = errors.New("empty values are not stored")

// ErrLocked means that another process holds the store.
var ErrLocked = errors.New("another process holds the store")

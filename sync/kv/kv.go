// Package kv is the seam to an ordered key-value store: tables of byte keys in
// byte order, read and written in transactions. Everything durable but large
// files goes through it.
package kv

import (
	"context"
	"iter"
)

// Table names one ordered map of a store. Names are fixed in code, never input.
type Table string

// Entry is valid until the transaction ends; keep a copy with bytes.Clone.
type Entry struct{ Key, Value []byte }

// Reader reads within one transaction.
type Reader interface {
	// Get gives the value, or nil when the key is absent. The slice is valid
	// until the transaction ends.
	Get(t Table, key []byte) ([]byte, error)
	// Scan gives entries with from <= key < to in ascending order; a nil to
	// means to the end. Nothing may be written to the table while it runs.
	Scan(t Table, from, to []byte) iter.Seq2[Entry, error]
	// ScanBack gives the same entries in descending order.
	ScanBack(t Table, from, to []byte) iter.Seq2[Entry, error]
}

// Tx reads and writes within one transaction and sees its own writes.
type Tx interface {
	Reader
	// Put stores a value, which must not be empty. Neither slice is kept.
	Put(t Table, key, value []byte) error
	// Delete removes a key; an absent key is no error.
	Delete(t Table, key []byte) error
	// Drop removes a whole table; an absent table is no error.
	Drop(t Table) error
}

// Store runs transactions. Update may run fn more than once (group commit,
// serialisation failure): fn has no effect outside its Tx. When Update returns
// nil the writes are durable. When it returns an error that wraps ErrUnknown,
// the writes may or may not be there: read again before going on.
// No transaction may be opened inside another.
type Store interface {
	View(ctx context.Context, fn func(Reader) error) error
	Update(ctx context.Context, fn func(Tx) error) error
	Close() error
}

// Reopener is a Store that can end the state after a commit whose outcome was
// unknown. A Store that wraps another passes it on.
type Reopener interface {
	Reopen(ctx context.Context) error
	// Stopped is nil, or tells why the store refuses everything until Reopen.
	Stopped() error
}

// Package memkv keeps tables in memory, for trials: a Disk outlives the stores
// opened on it, can be copied as a backup would be, and a store can be made to
// fail a commit with either outcome. It loses everything with the process.
package memkv

import (
	"context"
	"errors"
	"maps"
	"sync"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
)

var (
	_ kv.Store    = (*Store)(nil)
	_ kv.Reopener = (*Store)(nil)
)

// Disk holds committed tables. The zero value is an empty one.
type Disk struct {
	mu     sync.Mutex
	tables map[kv.Table]*table // tables are never changed once they are here
}

// Clone gives a disk with the same contents.
func (d *Disk) Clone() *Disk {
	d.mu.Lock()
	defer d.mu.Unlock()
	return &Disk{tables: maps.Clone(d.tables)}
}

// Outcome says how a commit ends.
type Outcome int

// The outcomes. After Lost and Kept the caller is told kv.ErrUnknown, and the
// store refuses everything until Reopen, as a store on a failing disk does.
const (
	Good   Outcome = iota
	Refuse         // an error before anything is written; the store goes on
	Lost           // an error, nothing is there
	Kept           // an error, everything is there
)

// ErrFull is the cause of a refused or unknown commit.
var ErrFull = errors.New("no space left on the trial disk")

// Store is an open disk.
type Store struct {
	disk *Disk
	// Outcome is asked before each commit that wrote something; nil: Good.
	Outcome func() Outcome

	mu     sync.Mutex // one writer
	closed bool
	bad    bool
}

// Open opens a disk.
func Open(d *Disk) *Store { return &Store{disk: d} }

func (s *Store) usable() error {
	switch {
	case s.closed:
		return &problem.Error{Code: problem.Unavailable, What: "the store is closed", Fix: "open it again"}
	case s.bad:
		return &problem.Error{Code: problem.Unavailable, What: "the store stopped after a failed commit", Fix: "open it again", Err: ErrFull}
	}
	return nil
}

// View runs fn on a snapshot.
func (s *Store) View(ctx context.Context, fn func(kv.Reader) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.mu.Lock()
	err := s.usable()
	s.mu.Unlock()
	if err != nil {
		return err
	}
	s.disk.mu.Lock()
	t := &tx{tables: s.disk.tables}
	s.disk.mu.Unlock()
	defer func() { t.done = true }()
	return fn(t)
}

// Update runs fn and commits.
func (s *Store) Update(ctx context.Context, fn func(kv.Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.usable(); err != nil {
		return err
	}
	s.disk.mu.Lock()
	t := &tx{tables: maps.Clone(s.disk.tables), own: map[kv.Table]bool{}, scans: map[kv.Table]int{}}
	s.disk.mu.Unlock()
	if t.tables == nil {
		t.tables = map[kv.Table]*table{}
	}
	defer func() { t.done = true }()
	if err := fn(t); err != nil {
		return err
	}
	if t.failed != nil {
		return t.failed
	}
	how := Good
	if s.Outcome != nil && len(t.own) > 0 {
		how = s.Outcome()
	}
	if how == Refuse {
		return &problem.Error{Code: problem.Unavailable, What: "the store takes no more", Fix: "free space", Err: ErrFull}
	}
	if how != Lost {
		s.disk.mu.Lock()
		s.disk.tables = t.tables
		s.disk.mu.Unlock()
	}
	if how != Good {
		s.bad = true
		return errors.Join(kv.ErrUnknown, ErrFull)
	}
	return nil
}

// Stopped is nil, or tells that everything is refused until Reopen.
func (s *Store) Stopped() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.bad {
		return ErrFull
	}
	return nil
}

// Reopen ends the state after a commit whose outcome was unknown.
func (s *Store) Reopen(context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.bad = false
	return s.usable()
}

// Close ends the store; the disk stays.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	return nil
}

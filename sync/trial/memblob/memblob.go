// Package memblob keeps attachments in memory, for trials.
package memblob

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"iter"
	"maps"
	"slices"
	"sync"

	"thudbook/sync/blob"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

var _ blob.Store = (*Store)(nil)

// ErrFull is the cause of a refused Put.
var ErrFull = errors.New("no space left on the trial disk")

// Store holds bytes by their hash. The zero value is empty. It survives what
// only ends a process, since nobody has to open it.
type Store struct {
	// Full is asked before bytes are kept; nil: never.
	Full func() bool

	mu        sync.Mutex
	all       map[record.Hash][]byte
	transfers map[place]*transfer
}

// Clone gives a store with the same contents, which is never full.
func (s *Store) Clone() *Store {
	s.mu.Lock()
	defer s.mu.Unlock()
	c := &Store{all: maps.Clone(s.all), transfers: map[place]*transfer{}}
	for p, t := range s.transfers {
		c.transfers[p] = &transfer{size: t.size, got: bytes.Clone(t.got)}
	}
	return c
}

func (s *Store) get(h record.Hash) ([]byte, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	b, ok := s.all[h]
	return b, ok
}

func full() error {
	return &problem.Error{Code: problem.NoSpace, What: "bytes cannot be stored", Fix: "free space", Err: ErrFull}
}

func (s *Store) keep(b []byte) (blob.Ref, error) {
	ref := blob.Ref{SHA256: sha256.Sum256(b), Size: int64(len(b))}
	if s.Full != nil && s.Full() {
		return ref, full()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.all == nil {
		s.all = map[record.Hash][]byte{}
	}
	s.all[ref.SHA256] = b
	return ref, nil
}

// Put implements blob.Store.
func (s *Store) Put(ctx context.Context, r io.Reader, limit int64) (blob.Ref, error) {
	if limit > 0 {
		r = io.LimitReader(r, limit+1)
	}
	b, err := read(ctx, r)
	switch {
	case err != nil:
		return blob.Ref{}, err
	case limit > 0 && int64(len(b)) > limit:
		return blob.Ref{}, blob.TooLarge(limit)
	}
	return s.keep(b)
}

// PutExpect implements blob.Store.
func (s *Store) PutExpect(ctx context.Context, want record.Hash, size int64, r io.Reader) error {
	if _, ok := s.get(want); ok && ctx.Err() == nil {
		return nil
	}
	b, err := read(ctx, io.LimitReader(r, size+1))
	if err != nil {
		return err
	}
	if int64(len(b)) != size || sha256.Sum256(b) != want {
		return blob.Unlike(want, fmt.Sprintf("%d bytes with another hash or size", len(b)))
	}
	_, err = s.keep(b)
	return err
}

func read(ctx context.Context, r io.Reader) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return io.ReadAll(r)
}

type file struct{ *bytes.Reader }

func (file) Close() error { return nil }

// Open implements blob.Store.
func (s *Store) Open(ctx context.Context, h record.Hash) (blob.Reader, int64, error) {
	if err := ctx.Err(); err != nil {
		return nil, 0, err
	}
	b, ok := s.get(h)
	if !ok {
		return nil, 0, blob.Absent(h)
	}
	return file{bytes.NewReader(b)}, int64(len(b)), nil
}

// Has implements blob.Store.
func (s *Store) Has(ctx context.Context, h record.Hash) (bool, int64, error) {
	if err := ctx.Err(); err != nil {
		return false, 0, err
	}
	b, ok := s.get(h)
	return ok, int64(len(b)), nil
}

// List implements blob.Store.
func (s *Store) List(ctx context.Context) iter.Seq2[blob.Ref, error] {
	s.mu.Lock()
	hashes := slices.SortedFunc(maps.Keys(s.all), func(a, b record.Hash) int { return bytes.Compare(a[:], b[:]) })
	s.mu.Unlock()
	return func(yield func(blob.Ref, error) bool) {
		for _, h := range hashes {
			if err := ctx.Err(); err != nil {
				yield(blob.Ref{}, err)
				return
			}
			b, _ := s.get(h)
			if !yield(blob.Ref{SHA256: h, Size: int64(len(b))}, nil) {
				return
			}
		}
	}
}

// Verify implements blob.Store.
func (s *Store) Verify(ctx context.Context, h record.Hash) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	b, ok := s.get(h)
	switch {
	case !ok:
		return blob.Absent(h)
	case sha256.Sum256(b) != h:
		return blob.Mismatch(h, "they have another hash")
	}
	return nil
}

// Remove implements blob.Store.
func (s *Store) Remove(ctx context.Context, h record.Hash) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.all, h)
	maps.DeleteFunc(s.transfers, func(p place, _ *transfer) bool { return p.hash == h })
	return nil
}

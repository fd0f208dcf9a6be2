package memblob

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"strings"

	"thudbook/sync/blob"
	"thudbook/sync/record"
)

// place names a transfer that may be cut and taken up again.
type place struct {
	scope string
	hash  record.Hash
}

type transfer struct {
	size int64
	got  []byte
	turn int // of the writer that came last; earlier ones stop
}

// Partial implements blob.Store.
func (s *Store) Partial(ctx context.Context, scope string, want blob.Ref) (int64, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	t := s.transfers[place{scope, want.SHA256}]
	if t == nil || t.size != want.Size {
		return 0, nil
	}
	return int64(len(t.got)), nil
}

// Append implements blob.Store.
func (s *Store) Append(ctx context.Context, scope string, want blob.Ref, offset int64, r io.Reader, proved func() error) (int64, error) {
	if strings.Trim(scope, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return 0, fmt.Errorf("memblob: %q cannot be the scope of a transfer", scope)
	}
	p := place{scope, want.SHA256}
	turn, at, err := s.begin(p, want, offset)
	if err != nil {
		return at, err
	}
	buf := make([]byte, 64<<10)
	for {
		n, readErr := 0, ctx.Err()
		if readErr == nil {
			n, readErr = r.Read(buf)
		}
		at, err = s.write(p, turn, want, buf[:n])
		if err != nil {
			if readErr != nil && readErr != io.EOF {
				err = errors.Join(readErr, err)
			}
			return at, err
		}
		if readErr == io.EOF {
			return s.finish(p, turn, want, proved)
		}
		if readErr != nil {
			return at, readErr
		}
	}
}

// begin takes the turn of writing.
func (s *Store) begin(p place, want blob.Ref, offset int64) (turn int, at int64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	t := s.transfers[p]
	if t == nil || t.size != want.Size {
		t = &transfer{size: want.Size}
		if s.transfers == nil {
			s.transfers = map[place]*transfer{}
		}
		s.transfers[p] = t
	}
	t.turn++
	if at = int64(len(t.got)); at != offset {
		return 0, at, blob.Elsewhere(want.SHA256, at)
	}
	return t.turn, at, nil
}

// of gives the transfer as long as nobody else took the turn; s.mu is held.
func (s *Store) of(p place, turn int) (*transfer, int64, error) {
	t := s.transfers[p]
	if t == nil || t.turn != turn {
		at := int64(0)
		if t != nil {
			at = int64(len(t.got))
		}
		return nil, at, blob.Elsewhere(p.hash, at)
	}
	return t, int64(len(t.got)), nil
}

func (s *Store) write(p place, turn int, want blob.Ref, b []byte) (int64, error) {
	if len(b) > 0 && s.Full != nil && s.Full() {
		s.mu.Lock()
		defer s.mu.Unlock()
		_, at, err := s.of(p, turn)
		return at, errors.Join(full(), err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	t, at, err := s.of(p, turn)
	if err != nil {
		return at, err
	}
	if at+int64(len(b)) > want.Size {
		delete(s.transfers, p)
		return 0, blob.Unlike(want.SHA256, fmt.Sprintf("more than the announced %d bytes", want.Size))
	}
	t.got = append(t.got, b...)
	return int64(len(t.got)), nil
}

// finish keeps the bytes once all are there.
func (s *Store) finish(p place, turn int, want blob.Ref, proved func() error) (int64, error) {
	s.mu.Lock()
	t, at, err := s.of(p, turn)
	if err != nil || at < want.Size {
		s.mu.Unlock()
		return at, err
	}
	if sha256.Sum256(t.got) != want.SHA256 {
		delete(s.transfers, p)
		s.mu.Unlock()
		return 0, blob.Unlike(want.SHA256, fmt.Sprintf("%d bytes with another hash", at))
	}
	s.mu.Unlock()
	if proved != nil {
		if err := proved(); err != nil {
			return at, err
		}
	}
	if _, err := s.keep(t.got); err != nil {
		return at, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.transfers, p)
	return at, nil
}

package exchange

import (
	"context"
	"errors"
	"fmt"
	"io"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// maxTurned bounds how often a transfer is sent to another offset in a row.
const maxTurned = 8

// sendBlob sends one attachment from where the server has it. It gives false
// when it stopped for something more urgent.
func (s *session) sendBlob(ctx context.Context, lab record.LabID, m Missing) (bool, error) {
	r, size, err := s.o.Blobs.Open(ctx, m.SHA256)
	if err == nil && size != m.Size {
		err = errors.Join(fmt.Errorf("%d bytes are stored, the record says %d", size, m.Size), r.Close())
	}
	if err != nil {
		if ctx.Err() != nil {
			return false, ctx.Err()
		}
		return false, &localError{localBlob(m.SHA256, err)}
	}
	defer func() { _ = r.Close() }() // it was read only
	if s.w.MaxBlobBytes > 0 && size > s.w.MaxBlobBytes {
		return false, &localError{&problem.Error{Code: problem.TooLarge, Where: m.SHA256.String(),
			What: fmt.Sprintf("A file of %d bytes is larger than the server takes (%d).", size, s.w.MaxBlobBytes),
			Fix:  "It is kept here. Raise the server's limit for attachments."}}
	}
	done := true
	if s.w.Protocol < withParts {
		if err = s.peer.PutBlob(ctx, lab, m.BlobRef, r); err == nil {
			s.moved(m, size, size)
		}
	} else {
		done, err = s.sendParts(ctx, lab, m, r)
	}
	if problem.Of(err) == problem.Damaged {
		// Was it the way, or is it this disk?
		if bad := s.o.Blobs.Verify(ctx, m.SHA256); bad != nil && ctx.Err() == nil {
			return false, &localError{localBlob(m.SHA256, bad)}
		}
	}
	if err != nil {
		return false, fmt.Errorf("send attachment %s: %w", m.SHA256, err)
	}
	return done, nil
}

// sendParts goes on until the server has everything, in parts that suit the
// link. The server checks the whole, so it is not checked here as well. After each
// one more urgent work may come first.
func (s *session) sendParts(ctx context.Context, lab record.LabID, m Missing, r io.ReaderAt) (bool, error) {
	at, turned := m.Offset, 0
	here := &source{r: r, size: m.Size}
	for {
		n := min(s.o.Batch.PartBytes(), m.Size-at)
		began := s.o.Now()
		next, err := s.peer.PutPart(ctx, lab, m.BlobRef, at, io.NewSectionReader(here, at, n))
		if here.err != nil {
			return false, &localError{localBlob(m.SHA256, here.err)}
		}
		if off, ok := errors.AsType[*OffsetError](err); ok && turned < maxTurned && off.Offset >= 0 && off.Offset <= m.Size {
			turned++
			at = off.Offset
			continue
		}
		if err != nil {
			s.o.Batch.PartFailed(err)
			return false, err
		}
		if next > m.Size || next <= at && m.Size > 0 && next != m.Size {
			return false, notTheServer(fmt.Errorf("it has %d bytes of %s after a part that ended at %d", next, m.SHA256, at+n))
		}
		s.o.Batch.PartWorked(s.o.Now().Sub(began), next-at)
		s.moved(m, next, n)
		if next == m.Size {
			return true, nil
		}
		at, turned = next, 0
		stop, err := s.urgent(ctx)
		if stop || err != nil {
			return false, err
		}
	}
}

// source remembers that this side could not read all, to tell it from trouble on the way.
type source struct {
	r    io.ReaderAt
	size int64
	err  error
}

func (s *source) ReadAt(b []byte, offset int64) (int, error) {
	n, err := s.r.ReadAt(b, offset)
	if errors.Is(err, io.EOF) && offset+int64(n) < s.size {
		err = io.ErrUnexpectedEOF
	}
	if err != nil && !errors.Is(err, io.EOF) {
		s.err = err
	}
	return n, err
}

// moved counts bytes that the server has.
func (s *session) moved(m Missing, at, n int64) {
	s.any.Store(true)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.res.BytesSent += n
	s.res.File = FileProgress{SHA256: m.SHA256, Done: at, Size: m.Size}
	s.progress()
}

// urgent says that records were written meanwhile, which go first, or that the
// session has run for long enough.
func (s *session) urgent(ctx context.Context) (bool, error) {
	if s.paused.Load() || s.over() {
		s.paused.Store(true)
		return true, nil
	}
	heads, err := s.o.Ledger.Heads(ctx)
	if err != nil && problem.Of(err) != problem.Damaged {
		return false, fmt.Errorf("read the heads: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, c := range s.own {
		if heads[c.origin].Seq > c.sent.Seq {
			s.paused.Store(true)
			return true, nil
		}
	}
	return false, nil
}

// over says that the session has run for as long as it may.
func (s *session) over() bool {
	return s.o.Slice > 0 && s.o.Now().Sub(s.began) >= s.o.Slice
}

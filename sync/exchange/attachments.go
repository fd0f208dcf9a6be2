package exchange

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

const blobPage = 256 << 10 // bytes of records whose attachments are looked after at once

// blobsLeft says whether a chain holds records that this session has not
// looked at for attachments.
func (s *session) blobsLeft() bool {
	for _, c := range s.own {
		if c.cursor < c.sent.Seq {
			return true
		}
	}
	return false
}

// sendBlobsPage takes the next page of records of every chain, and sends those
// of their attachments that the server lacks. It says whether there was one.
func (s *session) sendBlobsPage(ctx context.Context) (bool, error) {
	more := false
	for _, c := range slices.Clone(s.own) {
		if c.cursor >= c.sent.Seq {
			continue
		}
		more = true
		if err := s.sendBlobsOf(ctx, c); err != nil {
			return more, err
		}
	}
	return more, nil
}

func (s *session) sendBlobsOf(ctx context.Context, c *ownChain) error {
	recs, err := s.o.Ledger.Read(ctx, c.origin, c.cursor, blobPage)
	if err != nil {
		if problem.Of(err) == problem.Damaged {
			s.leave(c.origin, err)
			return nil
		}
		return fmt.Errorf("read %s after %d: %w", c.origin, c.cursor, err)
	}
	var want []record.Hash
	sizes := map[record.Hash]int64{}
	end := c.cursor
	for i := range recs {
		if recs[i].Seq > c.sent.Seq || len(want) >= MaxHashes-record.MaxAttachments {
			break
		}
		end = recs[i].Seq
		for _, a := range recs[i].Attachments {
			if _, ok := sizes[a.SHA256]; !ok {
				want = append(want, a.SHA256)
			}
			sizes[a.SHA256] = a.Size
		}
	}
	if end == c.cursor {
		return fmt.Errorf("%s has no record after %d", c.origin, c.cursor)
	}
	if len(want) > 0 {
		missing, err := s.peer.HaveBlobs(ctx, c.origin.Lab, want)
		if err != nil {
			return fmt.Errorf("ask which attachments are missing: %w", err)
		}
		if err := s.sendBlobs(ctx, c.origin, missing, sizes); err != nil {
			return err
		}
	}
	c.cursor = end
	if c.through < end {
		r, err := s.peer.Receipt(ctx, c.origin)
		if err != nil {
			return fmt.Errorf("ask for a receipt: %w", err)
		}
		return s.keepReceipt(ctx, c, r)
	}
	return nil
}

// sendBlobs sends several at once. One that is missing or damaged here is
// told, and does not hold up the others.
func (s *session) sendBlobs(ctx context.Context, o record.Origin, missing []record.Hash, asked map[record.Hash]int64) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(s.o.Streams)
	var mu sync.Mutex
	for _, h := range missing {
		if _, ok := asked[h]; !ok {
			return notTheServer(fmt.Errorf("it asks for %s, which was not offered", h))
		}
		g.Go(func() error {
			size, err := s.sendBlob(ctx, o.Lab, h)
			mu.Lock()
			defer mu.Unlock()
			if bad, ok := errors.AsType[*localError](err); ok {
				s.notice(o, bad.err)
				return nil
			}
			if err != nil {
				return err
			}
			s.res.BlobsSent++
			s.res.BytesSent += size
			s.progress()
			return nil
		})
	}
	return g.Wait()
}

// localError marks what is wrong with bytes on this side.
type localError struct{ err error }

func (e *localError) Error() string { return e.err.Error() }
func (e *localError) Unwrap() error { return e.err }

func (s *session) sendBlob(ctx context.Context, lab record.LabID, h record.Hash) (int64, error) {
	r, size, err := s.o.Blobs.Open(ctx, h)
	if err != nil {
		if ctx.Err() != nil {
			return 0, ctx.Err()
		}
		return 0, &localError{localBlob(h, err)}
	}
	defer func() { _ = r.Close() }() // it was read only
	if s.w.MaxBlobBytes > 0 && size > s.w.MaxBlobBytes {
		return 0, &localError{&problem.Error{Code: problem.TooLarge, Where: h.String(),
			What: fmt.Sprintf("A file of %d bytes is larger than the server takes (%d).", size, s.w.MaxBlobBytes),
			Fix:  "It is kept here. Raise the server's limit for attachments."}}
	}
	err = s.peer.PutBlob(ctx, lab, BlobRef{SHA256: h, Size: size}, r)
	if problem.Of(err) == problem.Damaged {
		// Was it the way, or is it this disk?
		if bad := s.o.Blobs.Verify(ctx, h); bad != nil && ctx.Err() == nil {
			return 0, &localError{localBlob(h, bad)}
		}
	}
	if err != nil {
		return 0, fmt.Errorf("send attachment %s: %w", h, err)
	}
	return size, nil
}

func localBlob(h record.Hash, err error) error {
	return &problem.Error{Code: problem.Damaged, Where: h.String(), Err: err,
		What: "The original bytes of an attachment are missing or damaged on this computer, so the server cannot get them.",
		Fix:  "Run 'thudbook verify' on the agent's data folder; the record itself was sent."}
}

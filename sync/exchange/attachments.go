package exchange

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

const blobPage = 256 << 10 // bytes of records whose attachments are looked after at once

// Class says how soon an attachment travels: records go first, then sources,
// then photos, then video.
type Class uint8

// The classes, in their order.
const (
	Sources Class = iota // acquisition files and all that is small
	Photos
	Videos // and whatever is as large
	classes
)

// ClassOf tells the class of an attachment.
func ClassOf(a record.Attachment) Class {
	switch {
	case strings.HasPrefix(a.Media, "video/"), a.Role == "video", a.Size > largeBytes:
		return Videos
	case strings.HasPrefix(a.Media, "image/"), a.Role == "photo":
		return Photos
	}
	return Sources
}

// attachments moves one piece of work on, the most urgent, and says whether
// there was one.
func (s *session) attachments(ctx context.Context) (bool, error) {
	for c := range classes {
		for _, chain := range slices.Clone(s.own) {
			chain.cursor[c] = max(chain.cursor[c], chain.through) // complete there: nothing to look for
			if chain.cursor[c] < chain.sent.Seq {
				return true, s.sendBlobsOf(ctx, chain, c)
			}
		}
		if !s.returned[c] {
			done, err := s.sendReturned(ctx, c)
			s.returned[c] = done
			return true, err
		}
		if !s.fetched[c] {
			done, err := s.fetchWanted(ctx, c)
			s.fetched[c] = done
			return true, err
		}
	}
	return false, nil
}

// page is the attachments of one class of a run of records.
type page struct {
	end    uint64 // the last record looked at
	refs   []BlobRef
	others [classes]bool // classes that the records have too
}

func (s *session) readPage(ctx context.Context, c *ownChain, class Class) (page, error) {
	p := page{end: c.cursor[class]}
	recs, err := s.o.Ledger.Read(ctx, c.origin, p.end, blobPage)
	if err != nil {
		return p, err
	}
	seen := map[record.Hash]bool{}
	for i := range recs {
		if recs[i].Seq > c.sent.Seq || len(p.refs) >= MaxHashes-record.MaxAttachments {
			break
		}
		p.end = recs[i].Seq
		for _, a := range recs[i].Attachments {
			of := ClassOf(a)
			p.others[of] = true
			if of == class && !seen[a.SHA256] {
				seen[a.SHA256] = true
				p.refs = append(p.refs, BlobRef{SHA256: a.SHA256, Size: a.Size})
			}
		}
	}
	if p.end == c.cursor[class] {
		return p, fmt.Errorf("%s has no record after %d", c.origin, p.end)
	}
	return p, nil
}

// sendBlobsOf takes the next page of records of a chain, and sends those of
// their attachments of a class that the server lacks.
func (s *session) sendBlobsOf(ctx context.Context, c *ownChain, class Class) error {
	p, err := s.readPage(ctx, c, class)
	if err != nil {
		if problem.Of(err) == problem.Damaged {
			s.leave(c.origin, err)
			return nil
		}
		return fmt.Errorf("read %s after %d: %w", c.origin, c.cursor[class], err)
	}
	if len(p.refs) > 0 {
		missing, err := s.peer.HaveBlobs(ctx, c.origin.Lab, p.refs)
		if err != nil {
			return fmt.Errorf("ask which attachments are missing: %w", err)
		}
		s.tellHanded(p.refs, missing)
		if err := s.sendBlobs(ctx, c.origin, class, missing, p.refs); err != nil {
			return err
		}
		if s.paused.Load() {
			return nil // something more urgent came up: this page is taken up again after it
		}
	}
	from := c.cursor[class]
	for later := class; later < classes; later++ {
		if later == class || c.cursor[later] == from && !p.others[later] {
			c.cursor[later] = p.end
		}
	}
	if c.through >= slices.Min(c.cursor[:]) {
		return nil
	}
	r, err := s.peer.Receipt(ctx, c.origin)
	if err != nil {
		return fmt.Errorf("ask for a receipt: %w", err)
	}
	return s.keepReceipt(ctx, c, r)
}

// How many attachments go at once. Most of the time of a small one is spent
// waiting, for the answer and for the server's disk.
const (
	usualStreams = 3
	quickStreams = 8
	smallBytes   = 1 << 20 // of each of them, so that eight take little memory
	streamsAnew  = 64      // after so many the number is thought over
)

// streams says how many of some attachments go at once: more where they are
// small and parts of the largest size went through quickly.
func (s *session) streams(class Class, some []Missing) int {
	switch large := func(m Missing) bool { return m.Size > smallBytes }; {
	case class == Videos:
		return 1
	case s.o.Streams > 0:
		return s.o.Streams
	case s.o.Batch.PartBytes() < MaxPartBytes || slices.ContainsFunc(some, large):
		return usualStreams
	}
	return quickStreams
}

// sendBlobs sends what is missing of what was offered.
func (s *session) sendBlobs(ctx context.Context, o record.Origin, class Class, missing []Missing, asked []BlobRef) error {
	offered := make(map[BlobRef]bool, len(asked))
	for _, b := range asked {
		offered[b] = true
	}
	for _, m := range missing {
		if !offered[m.BlobRef] {
			return notTheServer(fmt.Errorf("it asks for %s, which was not offered", m.SHA256))
		}
	}
	for some := range slices.Chunk(missing, streamsAnew) {
		if err := s.sendSome(ctx, o, s.streams(class, some), some); err != nil {
			return err
		}
	}
	return nil
}

// sendSome sends several at once. One that cannot be sent is told, and does not
// hold up the others.
func (s *session) sendSome(ctx context.Context, o record.Origin, streams int, some []Missing) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(streams)
	for _, m := range some {
		if s.paused.Load() || ctx.Err() != nil {
			break
		}
		if s.tooLargeNow(m.Size - m.Offset) {
			continue
		}
		if s.o.Gone != nil {
			switch gone, err := s.o.Gone(ctx, o.Lab, m.SHA256); {
			case err != nil:
				return errors.Join(err, g.Wait())
			case gone: // the server learns of it with the records
				continue
			}
		}
		g.Go(func() error { return s.sendOne(ctx, o, m) })
	}
	return g.Wait()
}

// sendOne sends an attachment and sorts out what may have gone wrong with it.
func (s *session) sendOne(ctx context.Context, o record.Origin, m Missing) error {
	done, err := s.sendBlob(ctx, o.Lab, m)
	s.mu.Lock()
	defer s.mu.Unlock()
	if bad, ok := errors.AsType[*localError](err); ok {
		s.notice(o, bad.err)
		return nil
	}
	switch problem.Of(err) {
	case problem.NoSpace:
		if need := m.Size - m.Offset; s.noRoom == 0 || need < s.noRoom {
			s.noRoom = need
		}
		s.noticeOnce(o, err)
		return nil
	case problem.Damaged: // on the way: others may come through
		if s.failed == nil {
			s.failed = err
		}
		return nil
	}
	if err != nil || !done {
		return err
	}
	s.res.BlobsSent++
	if s.o.Handed != nil {
		s.o.Handed(m.SHA256)
	}
	s.progress()
	return nil
}

// tellHanded tells of those that the server holds already.
func (s *session) tellHanded(asked []BlobRef, missing []Missing) {
	if s.o.Handed == nil {
		return
	}
	lacks := make(map[record.Hash]bool, len(missing))
	for _, m := range missing {
		lacks[m.SHA256] = true
	}
	for _, b := range asked {
		if !lacks[b.SHA256] {
			s.o.Handed(b.SHA256)
		}
	}
}

// tooLargeNow says that the server has refused something of this size in this
// session for want of space.
func (s *session) tooLargeNow(size int64) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.noRoom > 0 && size >= s.noRoom
}

// localError marks what is wrong with bytes on this side.
type localError struct{ err error }

func (e *localError) Error() string { return e.err.Error() }
func (e *localError) Unwrap() error { return e.err }

func localBlob(h record.Hash, err error) error {
	return &problem.Error{Code: problem.Damaged, Where: h.String(), Err: err,
		What: "The original bytes of an attachment are missing or damaged on this computer, so the server cannot get them.",
		Fix:  "Run 'thudbook verify' on the agent's data folder; the record itself was sent."}
}

package exchange

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"

	"thudbook/sync/blob"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// HaveBlobs gives those whose bytes the lab lacks, with how much of each is
// here from a transfer that was cut.
func (v *view) HaveBlobs(ctx context.Context, lab record.LabID, refs []BlobRef) ([]Missing, error) {
	if !v.p.may(lab) {
		return nil, forbidden("This agent is not enrolled for the lab.")
	}
	if len(refs) > MaxHashes {
		return nil, problem.New(problem.TooLarge,
			fmt.Sprintf("A question about %d attachments; at most %d at once.", len(refs), MaxHashes), "Ask in smaller parts.")
	}
	hashes := make([]record.Hash, len(refs))
	for i := range refs {
		hashes[i] = refs[i].SHA256
	}
	held, err := v.s.settled(ctx, lab, hashes...)
	if err != nil {
		return nil, err
	}
	var missing []Missing
	for i, b := range refs {
		if held[i] {
			continue
		}
		m := Missing{BlobRef: b}
		if b.Size > 0 { // 0: a question of version 1 tells no sizes
			if m.Offset, err = v.s.o.Blobs.Partial(ctx, transferScope(lab), blob.Ref(b)); err != nil {
				return nil, err
			}
		}
		missing = append(missing, m)
	}
	return missing, nil
}

// transferScope keeps the transfers of labs apart, so that nobody learns what
// others send.
func transferScope(lab record.LabID) string { return lab.String() }

// mayPut refuses attachments of labs without a right, and too large ones.
func (v *view) mayPut(lab record.LabID, b BlobRef) error {
	if !v.p.may(lab) {
		return forbidden("This agent is not enrolled for the lab.")
	}
	if b.Size < 0 || b.Size > v.s.o.MaxBlobBytes {
		return problem.New(problem.TooLarge,
			fmt.Sprintf("An attachment of %d bytes; this server takes at most %d.", b.Size, v.s.o.MaxBlobBytes),
			"Raise the server's limit for attachments.")
	}
	return nil
}

// PutBlob stores bytes for a lab. The sender has to show all of them, also
// when another lab brought the same bytes before.
func (v *view) PutBlob(ctx context.Context, lab record.LabID, b BlobRef, r io.Reader) error {
	if err := errors.Join(v.mayPut(lab, b), v.s.room(b.Size)); err != nil {
		return err
	}
	seen := &summing{r: io.LimitReader(r, b.Size+1), h: sha256.New()}
	if err := v.s.o.Blobs.PutExpect(ctx, b.SHA256, b.Size, seen); err != nil {
		return fmt.Errorf("keep %s: %w", b.SHA256, err)
	}
	if _, err := io.Copy(io.Discard, seen); err != nil { // what an existing copy left unread
		return fmt.Errorf("read %s: %w", b.SHA256, err)
	}
	if seen.n != b.Size || record.Hash(seen.h.Sum(nil)) != b.SHA256 {
		return &problem.Error{Code: problem.Damaged, What: "The bytes are not those that were announced.",
			Where: b.SHA256.String(), Fix: "They are sent again; if this comes back, check the agent's disk with 'thudbook verify'."}
	}
	return v.s.hold(ctx, lab, b.SHA256, b.Size)
}

// PutPart adds to a transfer. The sender has to show all bytes, as with PutBlob.
func (v *view) PutPart(ctx context.Context, lab record.LabID, b BlobRef, offset int64, r io.Reader) (int64, error) {
	if err := v.mayPut(lab, b); err != nil {
		return 0, err
	}
	if offset < 0 || offset > b.Size {
		return 0, problem.New(problem.Invalid, fmt.Sprintf("A part that begins at byte %d of %d.", offset, b.Size), "Update the agent.")
	}
	held, err := v.s.settled(ctx, lab, b.SHA256)
	if err != nil {
		return 0, err
	}
	if held[0] {
		return b.Size, nil
	}
	if err := v.s.room(b.Size - offset); err != nil {
		return 0, err
	}
	// The right is noted before the bytes get their name: with a crash between
	// the two the transfer goes on, with one the other way round it would have
	// to begin anew.
	proved := func() error { return v.s.hold(ctx, lab, b.SHA256, b.Size) }
	at, err := v.s.o.Blobs.Append(ctx, transferScope(lab), blob.Ref(b), offset, &capped{r: r, left: MaxPartBytes}, proved)
	if problem.Of(err) == problem.Conflict {
		return at, &OffsetError{Offset: at, Err: err}
	}
	if err != nil {
		return at, fmt.Errorf("keep a part of %s: %w", b.SHA256, err)
	}
	return at, nil
}

// capped gives an error instead of more bytes than were agreed.
type capped struct {
	r    io.Reader
	left int64
}

func (c *capped) Read(p []byte) (int, error) {
	n, err := c.r.Read(p[:min(int64(len(p)), c.left+1)])
	if c.left -= int64(n); c.left < 0 {
		return 0, problem.New(problem.TooLarge, fmt.Sprintf("A part of more than %d bytes.", MaxPartBytes), "Send smaller parts.")
	}
	return n, err
}

// GetBlob reads bytes that one of the principal's labs holds.
func (v *view) GetBlob(ctx context.Context, lab record.LabID, h record.Hash, from int64) (io.ReadCloser, int64, error) {
	if !v.p.may(lab) {
		return nil, 0, errNoBlob(h)
	}
	held, err := v.s.holds(ctx, lab, h)
	if err != nil {
		return nil, 0, err
	}
	if !held[0] {
		return nil, 0, errNoBlob(h)
	}
	r, size, err := v.s.o.Blobs.Open(ctx, h)
	if err != nil || from == 0 {
		return r, size, err
	}
	if from < 0 || from > size {
		return nil, 0, errors.Join(problem.New(problem.Invalid, fmt.Sprintf("Bytes from %d on of %d.", from, size), "Update the agent."), r.Close())
	}
	if _, err := r.Seek(from, io.SeekStart); err != nil {
		return nil, 0, errors.Join(fmt.Errorf("read %s from %d on: %w", h, from, err), r.Close())
	}
	return r, size, nil
}

// summing hashes and counts what is read through it.
type summing struct {
	r io.Reader
	h hash.Hash
	n int64
}

func (s *summing) Read(p []byte) (int, error) {
	n, err := s.r.Read(p)
	s.h.Write(p[:n])
	s.n += int64(n)
	return n, err
}

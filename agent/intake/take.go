package intake

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/blob"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Submission is one file offered to be taken in. The bytes are in the blob
// store already, durable, under Ref.
type Submission struct {
	Ref     blob.Ref
	Name    string    // without folder
	Path    string    // where it lies; empty when it was posted
	ModTime time.Time // zero when not known
	Map     *Map      // nil: channels are guessed
	Meta    []byte    // JSON; nil when there is none

	firstSeen time.Time // when it was first seen in its folder; zero when posted

	notes   []note
	folder  *folder // whose seen list is to be kept; nil when posted
	meta    *entry  // the meta file that was read along
	lost    bool    // the bytes are over the limit and were not kept
	badMeta bool
	packed  bool      // a folder, as one tar
	grew    uuid.UUID // shot of an earlier state of the file, whose bytes these begin with
}

// Put copies bytes into the blob store: streamed, hashed, durable on return.
// It refuses before it writes when the disk is nearly full.
func (in *Intake) Put(ctx context.Context, r io.Reader, expect int64) (blob.Ref, error) {
	if err := in.Room(max(expect, 0)); err != nil {
		in.refused.Add(1)
		return blob.Ref{}, err
	}
	ref, err := in.opt.Blobs.Put(ctx, r, in.opt.Limit)
	in.stored(err)
	return ref, err
}

// takeFile takes in a finished file of a watched folder.
func (in *Intake) takeFile(ctx context.Context, r *reach, e entry, s *Submission) error {
	if err := in.acquire(ctx); err != nil {
		return err
	}
	defer in.release()
	file, err := r.open(e.at)
	if err != nil {
		return err
	}
	defer file.Close()
	if err := unchanged(file, r, e); err != nil {
		return err
	}
	if e.size > in.opt.Limit {
		s.lost = true
		s.Ref, err = hashOnly(ctx, file)
	} else {
		s.Ref, err = in.Put(ctx, file, e.size)
	}
	if err != nil {
		return err
	}
	if s.Ref.Size != e.size {
		return errGrowing
	}
	if err := unchanged(file, r, e); err != nil {
		return err
	}
	_, err = in.finish(ctx, s)
	return err
}

// unchanged tells whether both the open file and what the name leads to are as
// they were when the folder was looked through.
func unchanged(file *os.File, r *reach, e entry) error {
	open, err := file.Stat()
	if err != nil {
		return err
	}
	named, err := r.root.Stat(e.at)
	if err != nil {
		return err
	}
	for _, i := range []os.FileInfo{open, named} {
		if i.Size() != e.size || !i.ModTime().Equal(e.mod) {
			return errGrowing
		}
	}
	return nil
}

// hashOnly sums bytes that are too many to be kept.
func hashOnly(ctx context.Context, r io.Reader) (blob.Ref, error) {
	h := sha256.New()
	var n int64
	for {
		m, err := io.CopyN(h, r, 8<<20)
		n += m
		if errors.Is(err, io.EOF) {
			return blob.Ref{SHA256: record.Hash(h.Sum(nil)), Size: n}, nil
		}
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return blob.Ref{}, err
		}
	}
}

// Submit takes in bytes that Put has stored. When it returns without an error
// the outcome is durable.
func (in *Intake) Submit(ctx context.Context, s Submission) (Outcome, error) {
	if err := in.acquire(ctx); err != nil {
		return Outcome{}, err
	}
	defer in.release()
	return in.finish(ctx, &s)
}

func (in *Intake) acquire(ctx context.Context) error {
	if err := in.opt.Trouble(); err != nil {
		in.refused.Add(1)
		return err
	}
	select {
	case in.slots <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (in *Intake) release() { <-in.slots }

// finish decides what the bytes are, and writes it down. Where another file has
// become the shot that this one was taken for, it decides anew.
func (in *Intake) finish(ctx context.Context, s *Submission) (Outcome, error) {
	for notes := len(s.notes); ; s.notes = s.notes[:notes] {
		out, err := in.finishOnce(ctx, s)
		if !errors.Is(err, errExpectedGone) {
			return out, err
		}
	}
}

func (in *Intake) finishOnce(ctx context.Context, s *Submission) (Outcome, error) {
	var src view.Source
	var before *seenEntry
	err := in.opt.Store.View(ctx, func(r kv.Reader) (err error) {
		if src, _, err = in.opt.Views.FindSource(r, scope.All(), s.Ref.SHA256); err == nil && s.folder != nil {
			before, err = getSeen(r, s.folder.dir, s.Name)
		}
		return err
	})
	if err != nil {
		return Outcome{}, err
	}
	var d *decision
	if src.Shot == uuid.Nil {
		if before != nil && before.Taken {
			if err := in.noteChange(ctx, s, before); err != nil {
				return Outcome{}, err
			}
		}
		if d, err = in.read(ctx, s); err != nil {
			return Outcome{}, err
		}
	}
	var out Outcome
	_, err = in.opt.Ledger.AppendWith(ctx, in.opt.Lab(), func(tx kv.Tx) ([]ledger.Draft, error) {
		var drafts []ledger.Draft
		var err error
		if out, drafts, err = in.decide(tx, s, d); err != nil {
			return nil, err
		}
		return drafts, in.remember(tx, s, out)
	})
	if errors.Is(err, errExpectedGone) {
		return Outcome{}, err
	}
	if err != nil {
		return Outcome{}, in.appendFailed(ctx, err)
	}
	in.met(nil)
	in.settleElsewhere(ctx, out)
	in.linkBack(ctx, s, out)
	if s.folder != nil {
		s.folder.dealtWith(s, out)
	}
	in.report(s, out)
	return out, nil
}

// noteChange flags a file that is not as it was when it was taken in.
func (in *Intake) noteChange(ctx context.Context, s *Submission, before *seenEntry) error {
	grew, err := in.grewFrom(ctx, s, before)
	if err != nil {
		return err
	}
	if !grew {
		s.notes = append(s.notes, note{lab.FlagFileChanged, fmt.Sprintf("the file changed after it had been taken in as shot %s; both are kept", before.ID)})
		return nil
	}
	s.grew = before.ID
	s.notes = append(s.notes, note{lab.FlagFileGrew, fmt.Sprintf("the file grew from %d to %d bytes after it had been taken in as shot %s, and begins with the same bytes: the same shot continued, or another stroke written behind it? Both are kept", before.Size, s.Ref.Size, before.ID)})
	return nil
}

// settleElsewhere closes a quarantine entry of another lab, as of the time
// before the agent was enrolled: its record belongs into the chain of that lab.
func (in *Intake) settleElsewhere(ctx context.Context, out Outcome) {
	if out.settle == nil {
		return
	}
	dr, err := settled(out.settle.Quarantine, out.ID)
	if err == nil {
		_, err = in.opt.Ledger.Append(ctx, out.settle.Lab, dr)
	}
	if err != nil {
		in.opt.Log.Warn("the shot is saved; its earlier quarantine entry stays open", "entry", out.settle.Quarantine, "error", err)
	}
}

// appendFailed puts into words why nothing was saved: the store stopped, or met
// damage. What concerns one file alone stays as it is.
func (in *Intake) appendFailed(ctx context.Context, err error) error {
	if ctx.Err() != nil && !errors.Is(err, kv.ErrUnknown) {
		return err
	}
	code := problem.Of(err)
	if !errors.Is(err, kv.ErrUnknown) && code != problem.Unavailable && code != problem.Damaged {
		return err
	}
	in.refused.Add(1)
	p := &problem.Error{Code: problem.Unavailable, What: "The store could not be written; nothing was saved.",
		Fix: "A file stays where it is and is taken in as soon as the store can be written; what was typed is to be sent again. Check that the disk has room and does not fail.", Err: err}
	if code == problem.Damaged {
		p.Code, p.What = code, "The store could not be written: stored bytes are not what was written. Nothing was saved."
		p.Fix = "The original file stays where it is. Run “thudbook doctor” on the data folder; it says what is damaged and what to do."
		in.met(p)
	}
	in.opt.Log.Error("nothing was saved", "error", err)
	return p
}

package exchange

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// pull takes what the server has beyond this node's heads, of the labs that
// this node may see. A batch that was lost half way is asked for again: the
// vector is the cursor.
func (s *session) pull(ctx context.Context) error {
	for {
		q, open, err := s.pullRequest(ctx)
		if err != nil || !open {
			return err
		}
		batches, err := s.peer.Pull(ctx, q)
		if err != nil {
			s.o.Batch.Failed(err)
			return fmt.Errorf("fetch records: %w", err)
		}
		if len(batches) == 0 {
			return nil
		}
		moved, told := false, len(s.res.Notices)
		for i := range batches {
			ok, err := s.take(ctx, &batches[i])
			if err != nil {
				return err
			}
			moved = moved || ok
		}
		s.progress()
		if !moved && told == len(s.res.Notices) {
			return errors.New("the server sends the same records again and again")
		}
	}
}

// pullRequest says what is here of the labs that both sides know, and whether
// the server, at the start of the session, had anything beyond it.
func (s *session) pullRequest(ctx context.Context) (PullRequest, bool, error) {
	heads, err := s.heads(ctx)
	if err != nil {
		return PullRequest{}, false, err
	}
	q := PullRequest{MaxBytes: s.o.Batch.Bytes()}
	if s.o.Only != nil {
		if q.Labs = s.w.Labs; len(q.Labs) == 0 {
			return q, false, nil
		}
	}
	open := false
	for _, o := range slices.SortedFunc(maps.Keys(heads), compareOrigins) {
		h := heads[o]
		switch {
		case !slices.Contains(s.w.Labs, o.Lab):
		case s.unwanted(o):
			q.Exclude = append(q.Exclude, o)
		default:
			q.Vector = append(q.Vector, HeadEntry{Origin: o, Seq: h.Seq, Hash: h.Hash})
		}
	}
	for _, e := range s.w.Vector {
		h, known := heads[e.Origin]
		switch {
		case !s.unwanted(e.Origin):
			open = open || e.Seq > h.Seq
		case !known:
			q.Exclude = append(q.Exclude, e.Origin)
		}
	}
	return q, open, nil
}

// unwanted chains are our own, except those that a restored folder lacks, and
// those that were found not to fit.
func (s *session) unwanted(o record.Origin) bool {
	if s.back[o] {
		return false
	}
	return o.Node == s.o.Ledger.Node() || s.closed[o]
}

// take appends a pulled batch. A chain that does not fit is left alone and told.
func (s *session) take(ctx context.Context, b *Batch) (bool, error) {
	if s.unwanted(b.Origin) || !slices.Contains(s.w.Labs, b.Origin.Lab) {
		return false, notTheServer(fmt.Errorf("it sends records of %s, which were not asked for", b.Origin))
	}
	before, err := s.o.Ledger.Head(ctx, b.Origin)
	if err != nil {
		return false, fmt.Errorf("read the head of %s: %w", b.Origin, err)
	}
	if err := s.noteWanted(ctx, b); err != nil {
		return false, err
	}
	head, err := s.o.Ledger.AppendForeign(ctx, b.Origin, b.Records)
	switch {
	case err == nil || errors.Is(err, record.ErrDuplicate):
	case errors.Is(err, record.ErrFork):
		delete(s.back, b.Origin)
		if b.Origin.Node == s.o.Server.ID {
			return false, s.giveBackFork(ctx, b.Origin, s.vectorHead(b.Origin))
		}
		s.leave(b.Origin, &HeadError{Reason: Fork, Origin: b.Origin, Head: head, Err: err})
		return false, nil
	case errors.Is(err, record.ErrGap), problem.Of(err) == problem.Invalid, problem.Of(err) == problem.Forked:
		delete(s.back, b.Origin)
		s.leave(b.Origin, err)
		return false, nil
	default:
		return false, fmt.Errorf("keep records of %s: %w", b.Origin, err)
	}
	s.res.RecordsReceived += int64(head.Seq - before.Seq)
	return head.Seq > before.Seq, nil
}

// vectorHead is where a chain ended on the server when the session began.
func (s *session) vectorHead(o record.Origin) record.Head {
	for _, e := range s.w.Vector {
		if e.Origin == o {
			return e.Head()
		}
	}
	return record.Head{}
}

package exchange

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// abandon closes an own chain whose continuity is in doubt: it is never written
// again. What only this node has of it goes on in the next chain, and what only
// the server has is fetched back.
func (s *session) abandon(ctx context.Context, o record.Origin, there record.Head, why error) error {
	const reason = "the server holds another continuation of this chain"
	shared, err := s.sharedWith(ctx, o, there)
	if err != nil {
		return fmt.Errorf("compare %s with the server's copy: %w", o, err)
	}
	settled, err := s.o.Ledger.Settled(ctx, o, shared.Seq, there)
	if err != nil {
		return fmt.Errorf("look for the second history of %s: %w", o, err)
	}
	if settled { // another server holds the other history: both were carried over
		s.leave(o, why)
		return nil
	}
	n, err := s.o.Ledger.Strand(ctx, o, shared, reason)
	if err != nil {
		return fmt.Errorf("close %s: %w", o, err)
	}
	s.res.Rehomed += int64(n)
	s.leave(o, why)
	s.back[o] = there.Seq > shared.Seq
	return nil
}

// continued takes the chain that goes on after a closed one into the session,
// unless it is in it already.
func (s *session) continued(ctx context.Context, o record.Origin) error {
	next := s.o.Ledger.Own(o.Lab)
	if next == o || s.chain(next) != nil || s.closed[next] {
		return nil
	}
	head, err := s.o.Ledger.Head(ctx, next)
	if err != nil || head.Seq == 0 {
		return err
	}
	s.own = append(s.own, &ownChain{origin: next})
	return nil
}

// sharedWith finds the last record that this node and the server both have of
// an own chain, by halving the part in question: each step asks the server for
// one of its records.
func (s *session) sharedWith(ctx context.Context, o record.Origin, there record.Head) (record.Head, error) {
	here, err := s.o.Ledger.Head(ctx, o)
	if err != nil {
		return record.Head{}, err
	}
	lo, hi := record.Head{}, min(here.Seq, there.Seq) // the record at lo is shared; none beyond hi is
	for probe := hi; lo.Seq < hi; probe = lo.Seq + (hi-lo.Seq+1)/2 {
		mine, err := s.hashAt(ctx, o, probe)
		if err != nil {
			return lo, err
		}
		theirs, err := s.theirHash(ctx, o, probe, there)
		if err != nil {
			return lo, err
		}
		if mine == theirs {
			lo = record.Head{Seq: probe, Hash: mine}
		} else {
			hi = probe - 1
		}
	}
	return lo, nil
}

func (s *session) theirHash(ctx context.Context, o record.Origin, seq uint64, there record.Head) (record.Hash, error) {
	if seq == there.Seq {
		return there.Hash, nil
	}
	q := PullRequest{MaxBytes: 1, Vector: []HeadEntry{{Origin: o, Seq: seq - 1}}}
	for _, e := range s.w.Vector {
		if e.Origin != o {
			q.Exclude = append(q.Exclude, e.Origin)
		}
	}
	for {
		batches, err := s.peer.Pull(ctx, q)
		if err != nil {
			return record.Hash{}, err
		}
		h, found, err := shownIn(batches, o, seq)
		if found || err != nil {
			return h, err
		}
		before := len(q.Exclude)
		for _, b := range batches { // chains that the server opened since its welcome come first
			if b.Origin != o && !slices.Contains(q.Exclude, b.Origin) {
				q.Exclude = append(q.Exclude, b.Origin)
			}
		}
		if len(q.Exclude) == before {
			return h, problem.New(problem.Unavailable, fmt.Sprintf("The server did not show its record %d of chain %s.", seq, o), "It is asked again by itself.")
		}
	}
}

// shownIn gives the hash of a record that was asked for.
func shownIn(batches []Batch, o record.Origin, seq uint64) (h record.Hash, found bool, err error) {
	for _, b := range batches {
		if b.Origin != o || len(b.Records) == 0 {
			continue
		}
		r, err := record.Parse(b.Records[0])
		if err != nil || r.Origin() != o || r.Seq != seq {
			return h, false, notTheServer(errors.Join(err, fmt.Errorf("asked for record %d of %s", seq, o)))
		}
		return r.Hash, true, nil
	}
	return h, false, nil
}

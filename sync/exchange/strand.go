package exchange

import (
	"context"
	"errors"
	"fmt"

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
	batches, err := s.peer.Pull(ctx, q)
	if err != nil {
		return record.Hash{}, err
	}
	for _, b := range batches {
		if b.Origin != o || len(b.Records) == 0 {
			continue
		}
		r, err := record.Parse(b.Records[0])
		if err != nil || r.Origin() != o || r.Seq != seq {
			return record.Hash{}, notTheServer(errors.Join(err, fmt.Errorf("asked for record %d of %s", seq, o)))
		}
		return r.Hash, nil
	}
	return record.Hash{}, problem.New(problem.Unavailable, fmt.Sprintf("The server did not show its record %d of chain %s.", seq, o), "It is asked again by itself.")
}

package exchange

import (
	"context"
	"fmt"
	"slices"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// ownChain is a chain that this node writes, as the session sees it.
type ownChain struct {
	origin  record.Origin
	sent    record.Head // what the server has
	through uint64      // complete there, attachments included
	cursor  uint64      // how far this session looked after attachments
}

// findOwn decides for every chain that this node writes where to go on.
func (s *session) findOwn(ctx context.Context) error {
	if err := s.compareReceipts(ctx); err != nil {
		return err
	}
	there := make(map[record.Origin]HeadEntry, len(s.w.Vector))
	for _, e := range s.w.Vector {
		there[e.Origin] = e
	}
	heads, err := s.heads(ctx)
	if err != nil {
		return err
	}
	me := s.o.Ledger.Node()
	for o := range there {
		if _, ok := heads[o]; !ok && o.Node == me {
			heads[o] = record.Head{} // the server has a chain of ours that is not here
		}
	}
	for o, h := range heads {
		switch {
		case o.Node != me:
			continue
		case !slices.Contains(s.w.Labs, o.Lab):
			s.foreignLab(o, h)
			continue
		}
		if err := s.checkPast(ctx, there[o], o, h); err != nil {
			if problem.Of(err) != problem.Forked {
				return err
			}
			if err := s.abandon(ctx, o, err); err != nil {
				return err
			}
			s.back[o] = there[o].Seq > h.Seq
			continue
		}
		s.own = append(s.own, &ownChain{origin: o, sent: there[o].Head()})
	}
	slices.SortFunc(s.own, func(a, b *ownChain) int { return compareOrigins(a.origin, b.origin) })
	for i := range s.w.Receipts {
		if c := s.chain(s.w.Receipts[i].Origin); c != nil {
			if err := s.keepReceipt(ctx, c, s.w.Receipts[i]); err != nil {
				return err
			}
			c.cursor = c.through
		}
	}
	return nil
}

func (s *session) chain(o record.Origin) *ownChain {
	for _, c := range s.own {
		if c.origin == o {
			return c
		}
	}
	return nil
}

// foreignLab tells of records that wait for a right.
func (s *session) foreignLab(o record.Origin, h record.Head) {
	if (o.Lab == record.LabID{}) || h.Seq == 0 {
		return // what a node writes for itself stays here
	}
	s.notice(o, &problem.Error{Code: problem.Forbidden,
		What:  fmt.Sprintf("%d records wait here that belong to a lab for which this agent is not enrolled.", h.Seq),
		Where: "lab " + o.Lab.String(),
		Fix:   "They are kept. An administrator of that lab can give this agent a code."})
}

// checkPast compares the server's copy of an own chain with this node's.
func (s *session) checkPast(ctx context.Context, e HeadEntry, o record.Origin, h record.Head) error {
	if e.Seq > h.Seq {
		return &problem.Error{Code: problem.Forked,
			What:  fmt.Sprintf("The server holds %d records of this agent, but only %d are here: the data folder was restored from a backup, or copied.", e.Seq, h.Seq),
			Where: "chain " + o.String(),
			Fix:   "Nothing is lost: this agent goes on in a new chain by itself and fetches the records back. If a copy of it runs elsewhere, stop that one."}
	}
	if e.Seq == 0 {
		return nil
	}
	hash, err := s.hashAt(ctx, o, e.Seq)
	if err != nil {
		return err
	}
	if hash != e.Hash {
		return &HeadError{Reason: Fork, Origin: o, Head: e.Head()}
	}
	return nil
}

func (s *session) hashAt(ctx context.Context, o record.Origin, seq uint64) (record.Hash, error) {
	recs, err := s.o.Ledger.Read(ctx, o, seq-1, 1)
	if err != nil {
		return record.Hash{}, fmt.Errorf("read record %d of %s: %w", seq, o, err)
	}
	if len(recs) == 0 || recs[0].Seq != seq {
		return record.Hash{}, fmt.Errorf("record %d of %s is not there", seq, o)
	}
	return recs[0].Hash, nil
}

// abandon closes an own chain whose continuity is in doubt: the next record of
// this node opens a new one. It is never written again.
func (s *session) abandon(ctx context.Context, o record.Origin, why error) error {
	if err := s.o.Ledger.CloseOwn(ctx, o, "the server holds another continuation of this chain"); err != nil {
		return fmt.Errorf("close %s: %w", o, err)
	}
	s.leave(o, why)
	return nil
}

package exchange

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// ownChain is a chain that this node writes, as the session sees it.
type ownChain struct {
	origin  record.Origin
	sent    record.Head     // what the server has
	through uint64          // complete there, attachments included
	cursor  [classes]uint64 // how far this session looked after attachments
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
	mine := slices.SortedFunc(maps.Keys(heads), func(a, b record.Origin) int { return compareOrigins(b, a) })
	var doubted []record.Origin
	for _, o := range mine { // the newest epoch first: what is carried over must not go into one that is in doubt
		switch {
		case o.Node != me:
			continue
		case !slices.Contains(s.w.Labs, o.Lab):
			s.foreignLab(o, heads[o])
			continue
		}
		err := s.checkPast(ctx, there[o], o, heads[o])
		switch problem.Of(err) {
		case problem.Forked:
			if err := s.abandon(ctx, o, there[o].Head(), err); err != nil {
				return err
			}
			doubted = append(doubted, o)
			continue
		case problem.Damaged:
			s.leave(o, err)
			continue
		}
		if err != nil {
			return err
		}
		s.own = append(s.own, &ownChain{origin: o, sent: there[o].Head()})
	}
	for _, o := range doubted {
		if err := s.continued(ctx, o); err != nil {
			return err
		}
	}
	slices.SortFunc(s.own, func(a, b *ownChain) int { return compareOrigins(a.origin, b.origin) })
	for i := range s.w.Receipts {
		if c := s.chain(s.w.Receipts[i].Origin); c != nil {
			if err := s.keepReceipt(ctx, c, s.w.Receipts[i]); err != nil {
				return err
			}
			for i := range c.cursor {
				c.cursor[i] = c.through
			}
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
	if len(recs) == 0 {
		return record.Hash{}, fmt.Errorf("record %d of %s is not there", seq, o)
	}
	return recs[0].Hash, nil
}

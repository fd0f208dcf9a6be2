package exchange

import (
	"context"
	"fmt"
	"slices"

	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// ownFault says that an error is about the records of one chain, not about the
// way or the server.
func ownFault(err error) bool {
	switch problem.Of(err) {
	case problem.Damaged, problem.Invalid, problem.TooLarge:
		return true
	}
	return false
}

// pushAll sends what the server lacks of every chain of this node.
func (s *session) pushAll(ctx context.Context) error {
	for _, c := range slices.Clone(s.own) {
		if err := s.pushChain(ctx, c); err != nil {
			return err
		}
	}
	return nil
}

func (s *session) pushChain(ctx context.Context, c *ownChain) error {
	turned := 0
	for {
		head, err := s.o.Ledger.Head(ctx, c.origin)
		if err != nil {
			return fmt.Errorf("read the head of %s: %w", c.origin, err)
		}
		if head.Seq <= c.sent.Seq {
			return nil
		}
		s.res.RecordsLeft = int64(head.Seq - c.sent.Seq)
		s.progress()
		before := c.sent.Seq
		err = s.pushBatch(ctx, c)
		switch p, isHead := asHeadError(err); {
		case err == nil:
			turned = 0
		case isHead && p.Reason == Gap && turned < 2:
			turned++ // the server says where its copy ends: go on from there
			if err := s.checkPast(ctx, HeadEntry{Origin: c.origin, Seq: p.Head.Seq, Hash: p.Head.Hash}, c.origin, head); err != nil {
				return s.goOnAfter(ctx, c.origin, p.Head, err)
			}
			c.sent = p.Head
		case isHead && p.Reason == Fork:
			return s.goOnAfter(ctx, c.origin, p.Head, err)
		case problem.Of(err) == problem.TooLarge && s.o.Batch.Bytes() > floorBatchBytes:
			s.o.Batch.Failed(err)
		case ownFault(err):
			s.leave(c.origin, err) // stops this chain only
			return nil
		default:
			s.o.Batch.Failed(err)
			return err
		}
		if err == nil && c.sent.Seq <= before {
			return fmt.Errorf("the server acknowledged record %d of %s after %d were sent", c.sent.Seq, c.origin, before)
		}
	}
}

// goOnAfter abandons a chain and takes the next one into the session.
func (s *session) goOnAfter(ctx context.Context, o record.Origin, there record.Head, why error) error {
	if err := s.abandon(ctx, o, there, why); err != nil {
		return err
	}
	return s.continued(ctx, o)
}

// pushBatch sends the next run of records and keeps the receipt.
func (s *session) pushBatch(ctx context.Context, c *ownChain) error {
	recs, err := s.o.Ledger.Read(ctx, c.origin, c.sent.Seq, min(s.o.Batch.Bytes(), s.limit()))
	if err != nil {
		return fmt.Errorf("read %s after %d: %w", c.origin, c.sent.Seq, err)
	}
	if len(recs) == 0 {
		return fmt.Errorf("%s has no record after %d", c.origin, c.sent.Seq)
	}
	recs = recs[:min(len(recs), maxBatchRecords)]
	b := Batch{Origin: c.origin, Records: make([][]byte, len(recs))}
	size := 0
	for i := range recs {
		b.Records[i] = recs[i].Raw
		size += len(recs[i].Raw)
	}
	last := recs[len(recs)-1]
	b.HeadSignature = receipt.SignHead(s.o.Key, c.origin, record.Head{Seq: last.Seq, Hash: last.Hash})
	r, err := s.peer.Push(ctx, b)
	if err != nil {
		return fmt.Errorf("send records %d to %d: %w", recs[0].Seq, last.Seq, err)
	}
	if err := s.keepReceipt(ctx, c, r); err != nil {
		return err
	}
	s.o.Batch.Worked(s.limit())
	s.res.RecordsSent += int64(len(recs))
	s.res.BytesSent += int64(size)
	s.res.RecordsLeft = max(0, s.res.RecordsLeft-int64(len(recs)))
	s.progress()
	return nil
}

func (s *session) limit() int {
	if s.w.MaxBatchBytes <= 0 {
		return MaxBatchBytes
	}
	return min(s.w.MaxBatchBytes, MaxBatchBytes)
}

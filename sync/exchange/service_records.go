package exchange

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// mayWrite refuses chains of others and of labs without a right.
func (v *view) mayWrite(o record.Origin) error {
	if o.Node != v.p.Node {
		return forbidden("A node may send only the records that it wrote itself.")
	}
	if !v.p.may(o.Lab) {
		return forbidden("This agent is not enrolled for the lab that the records belong to.")
	}
	return nil
}

// Push appends to the ledger and answers when that is durable.
func (v *view) Push(ctx context.Context, b Batch) (receipt.Receipt, error) {
	if b.Origin.Node == v.s.node && b.Origin.Node != v.p.Node {
		return v.takeBack(ctx, &b)
	}
	if err := v.mayWrite(b.Origin); err != nil {
		return receipt.Receipt{}, err
	}
	recs, err := v.checkBatch(&b, v.p.Key)
	if err != nil {
		return receipt.Receipt{}, err
	}
	if err := v.s.roomForRecords(); err != nil {
		return receipt.Receipt{}, err
	}
	head, err := v.s.append(ctx, b.Origin, recs)
	if errors.Is(err, record.ErrFork) {
		v.s.alarm(ctx, Alarm{Kind: TwoHistories, Node: v.p.Node, Origin: b.Origin, Here: head.Seq, There: recs[len(recs)-1].Seq})
	}
	if err != nil && !errors.Is(err, record.ErrDuplicate) {
		return receipt.Receipt{}, v.notTaken(&b, head, err)
	}
	v.tellNewEpochs(ctx, &recs[0])
	return v.s.receipt(ctx, b.Origin, head)
}

// notTaken says why a batch was not appended.
func (v *view) notTaken(b *Batch, head record.Head, err error) error {
	switch {
	case errors.Is(err, record.ErrGap):
		return &HeadError{Reason: Gap, Origin: b.Origin, Head: head, Err: err}
	case errors.Is(err, record.ErrFork):
		return &HeadError{Reason: Fork, Origin: b.Origin, Head: head, Err: err}
	}
	return fmt.Errorf("append records of %s: %w", b.Origin, err)
}

// append writes a batch when its lab has a turn, and in the same transaction
// how far the chain is complete now.
func (s *Service) append(ctx context.Context, o record.Origin, recs []record.Record) (record.Head, error) {
	done, err := s.commits.Take(ctx, o.Lab)
	if err != nil {
		return record.Head{}, err
	}
	defer done()
	return s.o.Ledger.AppendParsed(ctx, o, recs, func(tx kv.Tx, a ledger.Added) error { return s.completeWith(tx, o, a) })
}

// checkBatch refuses what no honest writer of this chain sends: too much at
// once, records of other chains, a head that the writer did not sign. It gives
// the records.
func (v *view) checkBatch(b *Batch, writer ed25519.PublicKey) ([]record.Record, error) {
	if len(b.Records) == 0 {
		return nil, problem.New(problem.Invalid, "A batch without records.", "Send at least one record.")
	}
	size := 0
	for _, raw := range b.Records {
		size += len(raw)
	}
	if size > MaxBatchBytes {
		return nil, problem.New(problem.TooLarge,
			fmt.Sprintf("A batch of %d bytes; at most %d are taken at once.", size, MaxBatchBytes), "Send smaller batches.")
	}
	recs := make([]record.Record, 0, len(b.Records))
	for i, raw := range b.Records {
		r, err := record.Parse(raw)
		if err != nil {
			return nil, &problem.Error{Code: problem.Invalid, What: "A record that cannot be read.",
				Where: fmt.Sprintf("record %d of the batch for %s", i+1, b.Origin),
				Fix:   "Run 'thudbook verify' on the agent's data folder.", Err: err}
		}
		if r.Origin() != b.Origin {
			return nil, forbidden("A record of another chain inside the batch.")
		}
		if i > 0 && r.Prev != recs[i-1].Hash {
			return nil, &problem.Error{Code: problem.Invalid, What: fmt.Sprintf("Records of a batch that do not follow each other: %d comes after %d.", r.Seq, recs[i-1].Seq),
				Where: fmt.Sprintf("record %d of the batch for %s", i+1, b.Origin),
				Fix:   "Run 'thudbook verify' on the agent's data folder."}
		}
		recs = append(recs, r)
	}
	if !receipt.VerifyHead(writer, b.Origin, recs[len(recs)-1].Head(), b.HeadSignature) {
		return nil, problem.New(problem.Unauthenticated,
			"The batch is not signed by the node that wrote it.", "Enrol the agent again with a new code.")
	}
	return recs, nil
}

// Receipt gives the present statement about one of the principal's chains.
func (v *view) Receipt(ctx context.Context, o record.Origin) (receipt.Receipt, error) {
	if err := v.mayWrite(o); err != nil {
		return receipt.Receipt{}, err
	}
	head, err := v.s.o.Ledger.Head(ctx, o)
	if err != nil {
		return receipt.Receipt{}, fmt.Errorf("read the head of %s: %w", o, err)
	}
	return v.s.receipt(ctx, o, head)
}

// receipt signs what is durable now. The head was read from the store, hence
// from a committed transaction.
func (s *Service) receipt(ctx context.Context, o record.Origin, head record.Head) (receipt.Receipt, error) {
	through, err := s.completeThrough(ctx, o)
	if err != nil {
		return receipt.Receipt{}, err
	}
	key, _ := s.keys()
	return receipt.Sign(key, receipt.Statement{Origin: o, Seq: head.Seq, Hash: head.Hash,
		CompleteThrough: min(through, head.Seq), Server: s.node, Incarnation: s.Incarnation(),
		TimeMS: s.o.Now().UnixMilli()}), nil
}

// Pull gives records of the principal's labs beyond the vector.
func (v *view) Pull(ctx context.Context, q PullRequest) ([]Batch, error) {
	limit := BatchBytes
	if q.MaxBytes > 0 {
		limit = min(q.MaxBytes, MaxBatchBytes)
	}
	known := make(map[record.Origin]uint64, len(q.Vector))
	for _, e := range q.Vector {
		known[e.Origin] = e.Seq
	}
	vector, err := v.vector(ctx)
	if err != nil {
		return nil, err
	}
	var out []Batch
	for _, e := range vector {
		if e.Seq <= known[e.Origin] || slices.Contains(q.Exclude, e.Origin) || len(q.Labs) > 0 && !slices.Contains(q.Labs, e.Origin.Lab) {
			continue
		}
		if e.Origin.Node == v.s.node { // so that the attachments can be asked for at once
			if _, err := v.s.completeThrough(ctx, e.Origin); err != nil {
				return nil, err
			}
		}
		recs, err := v.s.o.Ledger.Read(ctx, e.Origin, known[e.Origin], limit)
		if err != nil {
			return nil, fmt.Errorf("read %s after %d: %w", e.Origin, known[e.Origin], err)
		}
		b := Batch{Origin: e.Origin}
		for i := range recs {
			b.Records = append(b.Records, recs[i].Raw)
			limit -= len(recs[i].Raw)
		}
		if len(b.Records) > 0 {
			out = append(out, b)
		}
		if limit <= 0 {
			break
		}
	}
	return out, nil
}

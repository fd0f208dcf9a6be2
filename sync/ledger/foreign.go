package ledger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"thudbook/sync/hlc"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// ErrOwnAhead means that somebody has records of this node's own open origin
// that are not here: this node was set back, or there are two of it. Close the
// origin with CloseOwn; its records can then be taken in as history.
var ErrOwnAhead = errors.New("this node's own origin goes on elsewhere")

// maxEvidence bounds how many records of second histories are kept per origin.
const maxEvidence = 64

// AppendForeign adds records of another node, in order, as their exact bytes,
// and returns the head when they are durable. Records that are here already,
// byte for byte, are skipped. Records before the first bad one are kept. The
// error wraps record.ErrGap when records between are missing, record.ErrFork
// when the records belong to a second history (one is kept as evidence),
// ErrOwnAhead, or is a problem with code invalid; the head is given with it.
func (l *Ledger) AppendForeign(ctx context.Context, origin record.Origin, raws [][]byte) (record.Head, error) {
	recs, parseErr := parseAll(origin, raws)
	head, err := l.AppendParsed(ctx, origin, recs, nil)
	if err != nil {
		return head, err
	}
	return head, parseErr
}

// Added is what AppendParsed took in.
type Added struct {
	Before  record.Head
	Records []record.Record // that follow Before; none where all were here already
}

// AppendParsed is AppendForeign for records as record.Parse gave them. fn, where
// there is one, runs at the end of the same transaction, which may be more than
// once; it must open no other one.
func (l *Ledger) AppendParsed(ctx context.Context, origin record.Origin, recs []record.Record, fn func(kv.Tx, Added) error) (record.Head, error) {
	l.gate.RLock()
	defer l.gate.RUnlock()
	if err := l.Faulted(); err != nil {
		return record.Head{}, err
	}
	for i := range recs {
		if o := recs[i].Origin(); o != origin {
			return record.Head{}, notOf(origin, o, i)
		}
	}
	var f foreign
	err := l.store.Update(ctx, func(tx kv.Tx) error {
		f = foreign{l: l, tx: tx, origin: origin}
		added, err := f.take(recs)
		if err != nil || fn == nil {
			return err
		}
		return fn(tx, added)
	})
	if err != nil {
		return record.Head{}, l.noteFault(err)
	}
	return f.head.Head, f.refused
}

func notOf(origin, other record.Origin, i int) error {
	return problem.New(problem.Invalid, fmt.Sprintf("record %d of the batch belongs to origin %s, not %s", i+1, other, origin),
		"send the records of one origin at a time")
}

// parseAll gives the records up to the first that is none.
func parseAll(origin record.Origin, raws [][]byte) ([]record.Record, error) {
	recs := make([]record.Record, 0, len(raws))
	for i, raw := range raws {
		r, err := record.Parse(raw)
		if err == nil && r.Origin() != origin {
			err = notOf(origin, r.Origin(), i)
		}
		if err != nil {
			return recs, fmt.Errorf("record %d of the batch: %w", i+1, err)
		}
		recs = append(recs, r)
	}
	return recs, nil
}

// foreign is one transaction of AppendForeign.
type foreign struct {
	l       *Ledger
	tx      kv.Tx
	origin  record.Origin
	head    HeadEntry
	refused error // committed with what was good
}

// take appends what follows the head and stops at the first that does not.
func (f *foreign) take(recs []record.Record) (a Added, err error) {
	if f.head, err = readHead(f.tx, f.origin); err != nil {
		return a, err
	}
	a.Before = f.head.Head
	for i := range recs {
		at := f.head.Seq
		if err := f.one(&recs[i]); err != nil {
			return a, err
		}
		if f.head.Seq > at {
			a.Records = recs[i-len(a.Records) : i+1]
		}
		if f.refused != nil {
			break
		}
	}
	if len(a.Records) == 0 {
		return a, nil
	}
	return a, f.tx.Put(HeadTable, originKey(f.origin), f.head.encode())
}

func (f *foreign) one(r *record.Record) error {
	err := record.CheckNext(f.head.Head, r)
	switch {
	case err == nil:
		return f.next(r)
	case errors.Is(err, record.ErrGap):
		f.refuse(problem.Conflict, err, r, "send from record "+fmt.Sprint(f.head.Seq+1)+" on")
		return nil
	case r.Seq <= f.head.Seq:
		same, err := f.stored(r)
		if err != nil || same {
			return err
		}
	}
	f.refuse(problem.Forked, record.ErrFork, r, "the sender must close this origin and open its next epoch")
	return f.keepEvidence(r)
}

func (f *foreign) next(r *record.Record) error {
	own, err := f.ownOpen()
	if err != nil {
		return err
	}
	if own {
		f.refuse(problem.Forked, ErrOwnAhead, r, "close the origin; its records can then be taken in as history")
		return nil
	}
	if err := f.l.log1(f.tx, r); err != nil {
		return err
	}
	f.head.Head = r.Head()
	ahead := f.l.clock.Fold(r.Clock)
	if !ahead {
		f.head.Clock = max(f.head.Clock, r.Clock)
	}
	if ahead || hlc.Doubtful(r.Clock, time.Unix(0, r.WallNS)) {
		return f.tx.Put(SuspectTable, logKey(f.origin, r.Seq), kv.Join([]byte{valueVersion}, kv.I64(f.l.opts.Now().UnixNano())))
	}
	return nil
}

// ownOpen tells whether the origin is one that this node writes, or would open.
func (f *foreign) ownOpen() (bool, error) {
	if f.origin.Node != f.l.opts.Node {
		return false, nil
	}
	st, err := readOwn(f.tx, f.origin.Lab)
	return f.origin.Epoch >= st.nextEpoch(), err
}

// stored tells whether exactly this record is in the log. If it is, but its
// stored bytes were damaged, they are set aside and replaced by the good ones.
func (f *foreign) stored(r *record.Record) (bool, error) {
	key := logKey(f.origin, r.Seq)
	b, err := f.tx.Get(LogTable, key)
	if err != nil {
		return false, err
	}
	h, raw, err := cutLogValue(b)
	if err != nil {
		return false, damaged(f.origin, r.Seq, "the stored record cannot be read", err)
	}
	sameHash, sameBytes := h == r.Hash, bytes.Equal(raw, r.Raw)
	if sameHash == sameBytes {
		return sameHash, nil
	}
	if err := f.tx.Put(QuarantineTable, key, b); err != nil {
		return false, err
	}
	return true, f.tx.Put(LogTable, key, logValue(r))
}

func (f *foreign) keepEvidence(r *record.Record) error {
	from := originKey(f.origin)
	n := 0
	for _, err := range f.tx.Scan(ForkTable, from, kv.PrefixEnd(from)) {
		if err != nil {
			return err
		}
		n++
	}
	if n >= maxEvidence {
		return nil
	}
	return f.tx.Put(ForkTable, kv.Join(logKey(f.origin, r.Seq), r.Hash[:]), kv.Join([]byte{valueVersion}, r.Raw))
}

func (f *foreign) refuse(code problem.Code, cause error, r *record.Record, fix string) {
	f.refused = &problem.Error{Code: code, What: "the records do not follow what is here",
		Where: fmt.Sprintf("record %d of %s, head here %d", r.Seq, f.origin, f.head.Seq), Fix: fix, Err: cause}
}

// ScanSuspects gives the records of other nodes that were written by a wrong
// clock: their stamp lay too far ahead of this node's clock when they came, or
// the clock that stands in them tells another time than the stamp. They are kept
// like all others.
func ScanSuspects(r kv.Reader) ([]record.Ref, error) {
	var all []record.Ref
	for e, err := range r.Scan(SuspectTable, nil, nil) {
		if err != nil {
			return all, err
		}
		o, seq, err := cutLogKey(e.Key)
		if err != nil {
			return all, err
		}
		all = append(all, record.Ref{Origin: o, Seq: seq})
	}
	return all, nil
}

// Evidence is a record of a second history under an origin.
type Evidence struct {
	Ref record.Ref
	Raw []byte
}

// Forks gives the evidence of second histories, at most maxEvidence records per origin.
func (l *Ledger) Forks(ctx context.Context) ([]Evidence, error) {
	var all []Evidence
	err := l.store.View(ctx, func(r kv.Reader) (err error) {
		all, err = ScanForks(r)
		return err
	})
	return all, err
}

// ScanForks is Forks within a transaction.
func ScanForks(r kv.Reader) ([]Evidence, error) { return scanEvidence(r, ForkTable) }

// ScanStranded gives the records of own closed origins that were carried over,
// as they stood there.
func ScanStranded(r kv.Reader) ([]Evidence, error) { return scanEvidence(r, StrandedTable) }

func scanEvidence(r kv.Reader, table kv.Table) ([]Evidence, error) {
	var all []Evidence
	for e, err := range r.Scan(table, nil, nil) {
		if err != nil {
			return all, err
		}
		o, seq, err := cutLogKey(e.Key)
		if err != nil {
			return all, err
		}
		if len(e.Value) == 0 || e.Value[0] != valueVersion {
			return all, damaged(o, seq, "evidence of a second history cannot be read", errValue)
		}
		all = append(all, Evidence{Ref: record.Ref{Origin: o, Seq: seq}, Raw: append([]byte(nil), e.Value[1:]...)})
	}
	return all, nil
}

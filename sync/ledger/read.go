package ledger

import (
	"context"
	"fmt"
	"iter"
	"maps"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// pageRecords bounds how many records one read transaction copies.
const pageRecords = 1000

// damaged names where stored bytes are not what was written; seq 0 means the
// chain as a whole.
func damaged(o record.Origin, seq uint64, what string, err error) error {
	where := "origin " + o.String()
	if seq > 0 {
		where = fmt.Sprintf("record %d of %s", seq, where)
	}
	return &problem.Error{Code: problem.Damaged, What: what, Where: where,
		Fix: "nothing was removed; run verify, and fetch the record from a node that has it", Err: err}
}

// Step is one place of a stored chain: a record, or the damage found there.
type Step struct {
	Seq    uint64
	Record record.Record
	Damage error // a problem with code damaged; Record is then not to be used
}

// Chain walks one origin as stored, beyond a sequence number, checks every
// record against its own hash, its place and the one before, and the end
// against the head. It goes on after damage. The error of the sequence is one
// of the store.
func Chain(r kv.Reader, origin record.Origin, after uint64) iter.Seq2[Step, error] {
	return func(yield func(Step, error) bool) {
		w := walk{origin: origin}
		if err := w.start(r, after); err != nil {
			yield(Step{}, err)
			return
		}
		from := originKey(origin)
		for e, err := range r.Scan(LogTable, logKey(origin, after+1), kv.PrefixEnd(from)) {
			if err != nil {
				yield(Step{}, err)
				return
			}
			for _, s := range w.step(e) {
				if !yield(s, nil) {
					return
				}
			}
		}
		if s, bad := w.end(); bad {
			yield(s, nil)
		}
	}
}

// walk is the state of Chain: the head to reach, and the record before.
type walk struct {
	origin  record.Origin
	head    HeadEntry
	headErr error
	last    record.Head // hash as kept beside the record
	steps   int
}

func (w *walk) start(r kv.Reader, after uint64) error {
	w.head, w.headErr = readHead(r, w.origin)
	if w.headErr != nil && problem.Of(w.headErr) != problem.Damaged {
		return w.headErr
	}
	w.last.Seq = after
	if after == 0 {
		return nil
	}
	b, err := r.Get(LogTable, logKey(w.origin, after))
	if err == nil && b != nil {
		w.last.Hash, _, _ = cutLogValue(b) // damage there was met when it was read itself
	}
	return err
}

// step checks one entry; what is missing before it comes first.
func (w *walk) step(e kv.Entry) []Step {
	var steps []Step
	w.steps++
	_, seq, err := cutLogKey(e.Key)
	if err != nil {
		return []Step{w.bad(w.last.Seq+1, "a key of the log cannot be read", err)}
	}
	if seq != w.last.Seq+1 {
		steps = append(steps, w.bad(w.last.Seq+1, missing(w.last.Seq+1, seq-1), nil))
		w.last.Hash = record.Hash{}
	}
	h, raw, err := cutLogValue(e.Value)
	before := w.last.Hash
	w.last = record.Head{Seq: seq, Hash: h}
	if err != nil {
		return append(steps, w.bad(seq, "the stored record cannot be read", err))
	}
	r, err := record.Parse(raw)
	switch {
	case err == nil && r.Hash != h:
		return append(steps, w.bad(seq, "the stored record is not what was written: its hash differs", nil))
	case err != nil:
		return append(steps, w.bad(seq, "the stored record cannot be read", err))
	case r.Origin() != w.origin || r.Seq != seq:
		return append(steps, w.bad(seq, fmt.Sprintf("record %d of %s stands in its place", r.Seq, r.Origin()), nil))
	case r.Prev != before && before != record.Hash{}: // the first has none before it, by its form
		return append(steps, w.bad(seq, "the stored record does not follow the one before it", nil))
	}
	return append(steps, Step{Seq: seq, Record: r})
}

// end compares the last record with the head.
func (w *walk) end() (Step, bool) {
	switch {
	case w.headErr != nil:
		return Step{Seq: w.last.Seq, Damage: w.headErr}, true
	case w.last.Seq < w.head.Seq:
		return w.bad(w.last.Seq+1, missing(w.last.Seq+1, w.head.Seq), nil), true
	case w.last.Seq == w.head.Seq && w.head.Seq > 0 && w.last.Hash != w.head.Hash:
		return w.bad(w.last.Seq, "the last stored record is not the one that the head names", nil), true
	case w.last.Seq > w.head.Seq && w.steps > 0:
		return w.bad(w.head.Seq, "the log goes on behind the head", nil), true
	}
	return Step{}, false
}

func (w *walk) bad(seq uint64, what string, err error) Step {
	return Step{Seq: seq, Damage: damaged(w.origin, seq, what, err)}
}

func missing(from, to uint64) string {
	if from == to {
		return "the record is missing"
	}
	return fmt.Sprintf("records %d to %d are missing", from, to)
}

func cutLogKey(key []byte) (record.Origin, uint64, error) {
	o, err := originOf(key)
	if err != nil {
		return o, 0, err
	}
	seq, _, err := kv.CutU64(key[originWidth:])
	return o, seq, err
}

// Read gives records of an origin beyond a sequence number, at least one if
// there is any, then as many as fit into maxBytes of exact bytes. Each is
// checked against its hash and the chain. Damage ends the page before it; when
// the first record is damaged, the error is a problem with code damaged that
// names its sequence number.
func (l *Ledger) Read(ctx context.Context, origin record.Origin, after uint64, maxBytes int) ([]record.Record, error) {
	var page []record.Record
	err := l.store.View(ctx, func(r kv.Reader) error {
		page = nil
		size := 0
		for s, err := range Chain(r, origin, after) {
			if err == nil {
				err = s.Damage
			}
			if err != nil {
				if len(page) > 0 && problem.Of(err) == problem.Damaged {
					return nil
				}
				return err
			}
			size += len(s.Record.Raw)
			if len(page) > 0 && size > maxBytes || len(page) == pageRecords {
				return nil
			}
			page = append(page, s.Record)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return page, nil
}

// Get gives one record, or a problem with code not_found or damaged.
func (l *Ledger) Get(ctx context.Context, ref record.Ref) (record.Record, error) {
	if ref.Seq == 0 {
		return record.Record{}, absent(ref)
	}
	page, err := l.Read(ctx, ref.Origin, ref.Seq-1, 0)
	if err != nil {
		return record.Record{}, err
	}
	if len(page) == 0 {
		return record.Record{}, absent(ref)
	}
	return page[0], nil
}

func absent(ref record.Ref) error {
	return &problem.Error{Code: problem.NotFound, What: "there is no such record here",
		Where: fmt.Sprintf("record %d of origin %s", ref.Seq, ref.Origin), Fix: "exchange with a node that has it"}
}

// All gives every record, origin by origin, a page per transaction. Damage
// comes as an error in its place, and the walk goes on after it; any other
// error ends it.
func (l *Ledger) All(ctx context.Context) iter.Seq2[record.Record, error] {
	return func(yield func(record.Record, error) bool) {
		heads, err := l.Heads(ctx)
		if err != nil && !yield(record.Record{}, err) {
			return
		}
		for _, o := range sortedOrigins(heads) {
			for after := uint64(0); ; {
				steps, err := stepsPage(ctx, l.store, o, after)
				if err != nil {
					yield(record.Record{}, err)
					return
				}
				for _, s := range steps {
					if !yield(s.Record, s.Damage) {
						return
					}
				}
				if len(steps) < pageRecords {
					break
				}
				after = steps[len(steps)-1].Seq
			}
		}
	}
}

// stepsPage copies up to pageRecords steps of a chain.
func stepsPage(ctx context.Context, s kv.Store, o record.Origin, after uint64) ([]Step, error) {
	var steps []Step
	err := s.View(ctx, func(r kv.Reader) error {
		steps = steps[:0]
		for st, err := range Chain(r, o, after) {
			if err != nil {
				return err
			}
			if steps = append(steps, st); len(steps) == pageRecords {
				return nil
			}
		}
		return nil
	})
	return steps, err
}

// sortedLabs gives the labs in a fixed order: what a node does must not depend
// on the order of a map.
func sortedLabs[V any](m map[record.LabID]V) []record.LabID {
	return slices.SortedFunc(maps.Keys(m), func(a, b record.LabID) int { return slices.Compare(a[:], b[:]) })
}

func sortedOrigins[V any](m map[record.Origin]V) []record.Origin {
	all := make([]record.Origin, 0, len(m))
	for o := range m {
		all = append(all, o)
	}
	slices.SortFunc(all, func(a, b record.Origin) int {
		return slices.Compare(originKey(a), originKey(b))
	})
	return all
}

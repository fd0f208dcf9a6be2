package ledger

import (
	"context"
	"errors"
	"fmt"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// carryState is how far the carrying over of a closed origin's records is.
type carryState struct {
	After  uint64      `json:"after"`  // last record that both histories share
	Next   uint64      `json:"next"`   // to be carried next
	Branch record.Hash `json:"branch"` // of the first record that only this node has
	Ready  bool        `json:"ready"`  // all are carried; they leave the origin now
}

// carryPage bounds the record bytes of one step.
const carryPage = 256 << 10

// Strand closes one of this node's own origins because another history of it,
// which shares the records through shared, stands where this one was to be
// sent. The records beyond are carried over: each goes, as its exact bytes,
// into a record of kind record.KindRehomed in the next epoch, and leaves the
// origin for the table of stranded records, so that the other history can be
// taken in as the origin's own. Cut short, it is finished by the next Open or
// Recover. It returns how many records were carried.
//
// Appends wait meanwhile, and the views are rebuilt at the end.
func (l *Ledger) Strand(ctx context.Context, origin record.Origin, shared record.Head, reason string) (int, error) {
	if origin.Node != l.opts.Node || reason == "" {
		return 0, problem.New(problem.Invalid, "only an own origin can be closed, and with a reason", "name an origin of this node")
	}
	if err := l.CloseOwn(ctx, origin, reason); err != nil {
		return 0, err
	}
	l.gate.Lock()
	defer l.gate.Unlock()
	if err := l.Faulted(); err != nil {
		return 0, err
	}
	var c carryState
	err := l.store.Update(ctx, func(tx kv.Tx) (err error) {
		c, err = planCarry(tx, origin, shared)
		if err != nil || c.Next == 0 {
			return err
		}
		return writeCarry(tx, origin, c)
	})
	if err != nil || c.Next == 0 {
		return 0, l.noteFault(err)
	}
	n, err := l.carry(ctx, origin, c)
	if err == nil && l.opts.Views != nil {
		err = l.mendViews(ctx)
	}
	return n, err
}

// planCarry finds what is stranded; Next is zero when nothing is.
func planCarry(tx kv.Tx, o record.Origin, shared record.Head) (c carryState, err error) {
	if _, ok, err := readCarry(tx, o); err != nil || ok {
		return c, errors.Join(err, errors.New("the records of this origin are being carried over already"))
	}
	head, err := readHead(tx, o)
	if err != nil || head.Seq <= shared.Seq {
		return c, err
	}
	if shared.Seq > 0 {
		b, err := tx.Get(LogTable, logKey(o, shared.Seq))
		if err != nil {
			return c, err
		}
		if h, _, err := cutLogValue(b); err != nil || h != shared.Hash {
			return c, problem.New(problem.Invalid, fmt.Sprintf("record %d of origin %s is not the one that was said to be shared", shared.Seq, o), "compare the histories again")
		}
	}
	b, err := tx.Get(LogTable, logKey(o, shared.Seq+1))
	if err != nil {
		return c, err
	}
	h, _, err := cutLogValue(b)
	if err != nil {
		return c, damaged(o, shared.Seq+1, "the stored record cannot be read", err)
	}
	return carryState{After: shared.Seq, Next: shared.Seq + 1, Branch: h}, nil
}

// carry does what is left of carrying over one origin; the caller holds the gate.
func (l *Ledger) carry(ctx context.Context, o record.Origin, c carryState) (int, error) {
	n := 0
	for !c.Ready {
		k, err := l.carryStep(ctx, o, &c)
		if err != nil {
			return n, fmt.Errorf("carry over the records of %s: %w", o, err)
		}
		n += k
	}
	for done := false; !done; {
		err := l.store.Update(ctx, func(tx kv.Tx) (err error) {
			done, err = cutBack(tx, o, c.After)
			return err
		})
		if err != nil {
			return n, l.noteFault(fmt.Errorf("set aside the records of %s: %w", o, err))
		}
	}
	l.notice("%s", carriedWords(o, c.After+1))
	return n, nil
}

// carryStep carries a page of records in one transaction.
func (l *Ledger) carryStep(ctx context.Context, o record.Origin, c *carryState) (int, error) {
	var w writing
	var next carryState
	n := 0
	err := l.store.Update(ctx, func(tx kv.Tx) error {
		w, next, n = writing{}, *c, 0
		var drafts []Draft
		size := 0
		for s, err := range Chain(tx, o, c.Next-1) {
			switch {
			case err != nil:
				return err
			case size >= carryPage:
			case s.Damage != nil: // what cannot be read cannot be carried; verify names it
				l.notice("Damage: %v", s.Damage)
				next.Next, size = s.Seq+1, size+1
				continue
			default:
				more, err := freshCarriers(tx, &s.Record, c)
				if err != nil {
					return err
				}
				drafts, size, next.Next = append(drafts, more...), size+len(s.Record.Raw), s.Seq+1
				if len(more) > 0 {
					n++
				}
				continue
			}
			break
		}
		next.Ready = size < carryPage
		if len(drafts) > 0 {
			if err := l.write(tx, o.Lab, drafts, &w); err != nil {
				return err
			}
		}
		return writeCarry(tx, o, next)
	})
	if err != nil {
		return 0, l.noteFault(err)
	}
	*c = next
	if len(w.records) == 0 {
		return 0, nil
	}
	l.setOwn(o.Lab, w.own)
	if err := l.anchor.raise(o.Lab, anchorEntry{Epoch: w.own.Epoch, Head: w.head.Head}); err != nil {
		return n, l.noteFault(fmt.Errorf("write the anchor: %w: %w", kv.ErrUnknown, err))
	}
	return n, nil
}

// freshCarriers is carriers for a record that was never stranded here before: a
// history that comes and goes, because two servers hold different ones, is
// carried once.
func freshCarriers(tx kv.Tx, r *record.Record, c *carryState) ([]Draft, error) {
	if known, err := stranded(tx, r.Ref(), r.Hash); err != nil || known {
		return nil, err
	}
	return carriers(r, c)
}

// stranded tells whether exactly this record left its place here before.
func stranded(r kv.Reader, ref record.Ref, h record.Hash) (bool, error) {
	b, err := r.Get(StrandedTable, kv.Join(logKey(ref.Origin, ref.Seq), h[:]))
	return b != nil, err
}

// Settled tells whether nothing is left to do about a second history of a
// closed own origin that ends with there elsewhere: it was here before and was
// carried over, and so was all that stands here beyond record shared.
func (l *Ledger) Settled(ctx context.Context, origin record.Origin, shared uint64, there record.Head) (bool, error) {
	if origin.Node != l.opts.Node {
		return false, nil
	}
	settled := false
	err := l.store.View(ctx, func(r kv.Reader) (err error) {
		settled, err = stranded(r, record.Ref{Origin: origin, Seq: there.Seq}, there.Hash)
		if err != nil || !settled {
			return err
		}
		for s, err := range Chain(r, origin, shared) {
			if err != nil {
				return err
			}
			if s.Damage != nil {
				continue // it cannot be carried
			}
			if settled, err = stranded(r, s.Record.Ref(), s.Record.Hash); err != nil || !settled {
				return err
			}
		}
		return nil
	})
	return settled, err
}

// carriers makes the drafts that carry a record. The first record of an origin
// says nothing that the next one's does not, and stays behind.
func carriers(r *record.Record, c *carryState) ([]Draft, error) {
	if r.Kind == record.KindGenesis {
		return nil, nil
	}
	all, err := record.Carry(r, c.After, c.Branch)
	if err != nil {
		return nil, err
	}
	drafts := make([]Draft, len(all))
	for i, p := range all {
		body, err := record.EncodeBody(p.Body)
		if err != nil {
			return nil, err
		}
		drafts[i] = Draft{Kind: record.KindRehomed, Schema: 1, Author: r.Author, UID: r.UID, Body: body, Attachments: p.Attachments}
	}
	return drafts, nil
}

// finishCarrying goes on with what a stop cut short; the caller holds the gate,
// or is alone.
func (l *Ledger) finishCarrying(ctx context.Context) error {
	open := map[record.Origin]carryState{}
	err := l.store.View(ctx, func(r kv.Reader) error {
		for e, err := range r.Scan(carryTable, nil, nil) {
			if err != nil {
				return err
			}
			o, err := originOf(e.Key)
			if err != nil {
				return err
			}
			c, _, err := readCarry(r, o)
			if err != nil {
				return err
			}
			open[o] = c
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, o := range sortedOrigins(open) {
		if _, err := l.carry(ctx, o, open[o]); err != nil {
			return err
		}
	}
	return nil
}

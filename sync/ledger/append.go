package ledger

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Append adds facts to the node's own origin of a lab, all in one transaction,
// and returns when they are durable. The first append of an origin is preceded
// by its genesis record, which is not among the results.
func (l *Ledger) Append(ctx context.Context, lab record.LabID, drafts ...Draft) ([]record.Record, error) {
	return l.AppendWith(ctx, lab, func(kv.Tx) ([]Draft, error) { return drafts, nil })
}

// AppendWith is Append with drafts that fn decides on inside the transaction,
// where it sees what is committed and may write tables of its own. fn may run
// more than once, and must open no other transaction.
func (l *Ledger) AppendWith(ctx context.Context, lab record.LabID, fn func(kv.Tx) ([]Draft, error)) ([]record.Record, error) {
	l.gate.RLock()
	defer l.gate.RUnlock()
	if err := l.Faulted(); err != nil {
		return nil, err
	}
	var w writing
	err := l.store.Update(ctx, func(tx kv.Tx) error {
		drafts, err := fn(tx)
		if err != nil {
			return err
		}
		if err := l.checkAttachments(ctx, drafts); err != nil {
			return err
		}
		w = writing{}
		if len(drafts) == 0 {
			return nil
		}
		return l.write(tx, lab, drafts, &w)
	})
	if err != nil {
		return nil, l.noteFault(err)
	}
	if len(w.records) == 0 {
		return nil, nil
	}
	l.setOwn(lab, w.own)
	if err := l.anchor.raise(lab, anchorEntry{Epoch: w.own.Epoch, Head: w.head.Head}); err != nil {
		return nil, l.noteFault(fmt.Errorf("write the anchor: %w: %w", kv.ErrUnknown, err))
	}
	return w.records, nil
}

// noteFault stops all writing after an error that leaves the outcome unknown.
func (l *Ledger) noteFault(err error) error {
	if errors.Is(err, kv.ErrUnknown) {
		l.fault.CompareAndSwap(nil, &err)
		l.log.Error("ledger stopped", "error", err)
	}
	return err
}

// writing is what one transaction adds to an own origin.
type writing struct {
	own     ownState
	origin  record.Origin
	head    HeadEntry
	records []record.Record
}

// write puts drafts behind the committed head of the lab's open origin.
func (l *Ledger) write(tx kv.Tx, lab record.LabID, drafts []Draft, w *writing) error {
	var err error
	if w.own, err = readOwn(tx, lab); err != nil {
		return fmt.Errorf("state of the own origin of lab %s: %w", lab, err)
	}
	w.origin = record.Origin{Node: l.opts.Node, Lab: lab, Epoch: w.own.nextEpoch()}
	if w.head, err = readHead(tx, w.origin); err != nil {
		return err
	}
	if w.own.Epoch == 0 || w.own.Closed != "" {
		if err := l.openEpoch(tx, lab, w); err != nil {
			return err
		}
	}
	for i := range drafts {
		r, err := l.add(tx, w, drafts[i])
		if err != nil {
			return err
		}
		w.records = append(w.records, r)
	}
	return tx.Put(HeadTable, originKey(w.origin), w.head.encode())
}

// openEpoch starts the next epoch with its genesis record.
func (l *Ledger) openEpoch(tx kv.Tx, lab record.LabID, w *writing) error {
	for w.head.Seq > 0 { // taken: records of it came back from another node
		w.origin.Epoch++
		var err error
		if w.head, err = readHead(tx, w.origin); err != nil {
			return err
		}
	}
	g := record.Genesis{
		NodeKey:  l.opts.Key.Public().(ed25519.PublicKey),
		Software: l.opts.Software,
	}
	if w.own.Closed != "" {
		before := record.Origin{Node: l.opts.Node, Lab: lab, Epoch: w.own.Epoch}
		last, err := readHead(tx, before)
		if err != nil && problem.Of(err) != problem.Damaged {
			return err // a damaged head entry is named as none left
		}
		g.Predecessor = &record.Predecessor{Node: before.Node, Lab: before.Lab, Epoch: before.Epoch,
			Seq: last.Seq, Hash: last.Hash, Reason: w.own.Closed}
	}
	body, err := record.EncodeBody(g)
	if err != nil {
		return err
	}
	w.own = ownState{Epoch: w.origin.Epoch}
	if err := writeOwn(tx, lab, w.own); err != nil {
		return err
	}
	_, err = l.add(tx, w, Draft{Kind: record.KindGenesis, Schema: 1, Body: body})
	return err
}

// add seals one draft behind w.head, logs it and takes it into the views.
func (l *Ledger) add(tx kv.Tx, w *writing, d Draft) (record.Record, error) {
	if d.Author == "" {
		d.Author = "node"
	}
	clock := l.clock.After(w.head.Clock)
	r, err := record.Seal(record.Envelope{
		Node: w.origin.Node, Lab: w.origin.Lab, Epoch: w.origin.Epoch,
		Seq: w.head.Seq + 1, Prev: w.head.Hash,
		Clock: clock, WallNS: l.opts.Now().UnixNano(),
		Kind: d.Kind, Schema: d.Schema, Author: d.Author, UID: d.UID,
		Body: slices.Clone(d.Body), Attachments: slices.Clone(d.Attachments),
	})
	if err != nil {
		return record.Record{}, err
	}
	if err := l.log1(tx, &r); err != nil {
		return record.Record{}, err
	}
	w.head = HeadEntry{Head: r.Head(), Clock: clock}
	return r, nil
}

// log1 writes one record to the log and the views; the head is the caller's.
func (l *Ledger) log1(tx kv.Tx, r *record.Record) error {
	if err := tx.Put(LogTable, logKey(r.Origin(), r.Seq), logValue(r)); err != nil {
		return err
	}
	if l.opts.Views == nil {
		return nil
	}
	if err := l.opts.Views.Apply(tx, r); err != nil {
		return fmt.Errorf("views, record %d of %s, kind %s: %w", r.Seq, r.Origin(), r.Kind, err)
	}
	return nil
}

// checkAttachments refuses drafts whose bytes are not durable beside the log.
func (l *Ledger) checkAttachments(ctx context.Context, drafts []Draft) error {
	for _, d := range drafts {
		for _, a := range d.Attachments {
			if l.opts.Blobs == nil {
				return problem.New(problem.Invalid, "this ledger takes no attachments", "open it with a blob store")
			}
			has, size, err := l.opts.Blobs.Has(ctx, a.SHA256)
			if err != nil {
				return err
			}
			if !has || size != a.Size {
				return &problem.Error{Code: problem.Invalid, What: "a record names bytes that are not stored, or not with this size",
					Where: fmt.Sprintf("kind %s, attachment %s, %d bytes", d.Kind, a.SHA256, a.Size),
					Fix:   "store the bytes before the record that names them"}
			}
		}
	}
	return nil
}

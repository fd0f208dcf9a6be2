package world

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/hlc"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// check looks at everything that a node holds and that was not looked at
// before; whole also compares all of it with what was ever acknowledged.
func (n *node) check(whole bool) error {
	if n.ledger.Faulted() != nil {
		return nil // nothing can be read until it is opened again
	}
	err := n.ledger.View(n.w.ctx, func(r kv.Reader) error {
		heads, err := ledger.ScanHeads(r)
		if err != nil {
			return err
		}
		if err := n.setBack(r, heads); err != nil {
			return err
		}
		wrote := whole
		for _, o := range origins(heads) {
			h := heads[o]
			wrote = wrote || o.Node == n.id && n.heads[o] != h.Head
			if err := n.checkChain(r, o, h.Head); err != nil {
				return err
			}
		}
		for _, o := range origins(n.heads) {
			if h := n.heads[o]; heads[o].Seq < h.Seq {
				return fmt.Errorf("the vector went back: %s ended with %d, now with %d", o, h.Seq, heads[o].Seq)
			}
		}
		if whole {
			if err := n.checkAcked(r); err != nil {
				return err
			}
		}
		if err := n.checkKept(); err != nil || !wrote {
			return err
		}
		return n.checkAnchor(r)
	})
	if err != nil {
		return fmt.Errorf("%s: %w", n.name, err)
	}
	return nil
}

func (n *node) checkChain(r kv.Reader, o record.Origin, head record.Head) error {
	if !slices.Contains(n.labs, o.Lab) {
		return fmt.Errorf("it holds %s, of a lab that it may not see", o)
	}
	before := n.heads[o]
	if head == before {
		return nil
	}
	at := before
	for s, err := range ledger.Chain(r, o, before.Seq) {
		if err = errors.Join(err, s.Damage); err != nil {
			return err
		}
		rec := &s.Record
		again, err := record.Parse(rec.Raw) // hashes the bytes anew
		if err != nil {
			return fmt.Errorf("record %d of %s: %w", rec.Seq, o, err)
		}
		if again.Seq != at.Seq+1 || again.Prev != at.Hash || again.Origin() != o {
			return fmt.Errorf("record %d of %s does not follow record %d", again.Seq, o, at.Seq)
		}
		if err := n.checkRecord(r, &again); err != nil {
			return fmt.Errorf("record %d of %s: %w", again.Seq, o, err)
		}
		at = again.Head()
	}
	if at != head {
		return fmt.Errorf("%s: the head names record %d, the log ends with %d", o, head.Seq, at.Seq)
	}
	n.heads[o] = head
	return nil
}

// mayStamp is how far a node's stamps may reach: to what its own clock ever showed,
// and, where that clock stands at a time long past, to those of the others.
func (n *node) mayStamp() time.Time {
	if others := present().Add(jump); others.After(n.latest) {
		return others
	}
	return n.latest
}

func (n *node) checkRecord(tx kv.Reader, r *record.Record) error {
	ref := r.Ref()
	if last, ok := n.stamps[r.Origin()]; ok && r.Clock <= last.Clock {
		return fmt.Errorf("its clock %d is not after that of the record before, %d", r.Clock, last.Clock)
	}
	n.stamps[r.Origin()] = *r
	if old, ok := n.at[ref]; ok && old != r.Hash {
		return errors.New("it was another record before")
	}
	n.at[ref] = r.Hash
	if want, ok := n.acked[ref]; ok && want != r.Hash {
		if err := n.strand(tx, ref, want); err != nil {
			return fmt.Errorf("another record was acknowledged at this place: %w", err)
		}
	}
	if err := n.noteCarried(r); err != nil {
		return err
	}
	all := n.w.hashes[ref]
	if all == nil {
		all = map[record.Hash]bool{}
		n.w.hashes[ref] = all
	}
	if all[r.Hash] {
		return nil
	}
	all[r.Hash] = true
	switch {
	case record.NodeID(r.Node) != n.id:
		return fmt.Errorf("%s holds it, but its writer never did: it is forged", n.name)
	case len(all) > 1 && !n.w.forked(r.Origin()):
		return fmt.Errorf("its number was used twice, though %s was neither copied nor set back unnoticed", n.name)
	case r.Clock > hlc.At(n.mayStamp().Add(hlc.MaxAhead+time.Second)):
		return fmt.Errorf("its clock says %s, more than ten minutes beyond what its writer's clock ever said (%s) and a clock that is off by a little", r.Clock.Wall(), n.latest)
	}
	return nil
}

// checkAnchor: an open chain never lies behind its anchor, at no instant.
func (n *node) checkAnchor(r kv.Reader) error {
	doubts, _, err := ledger.CheckAnchor(r, n.id, n.anchor())
	for _, d := range doubts {
		if d.Origin == n.ledger.Own(d.Origin.Lab) {
			err = errors.Join(err, fmt.Errorf("open chain %s: %s", d.Origin, d.Reason))
		}
	}
	return err
}

// complete: what a receipt calls complete has its attachments on the server.
func (n *node) complete(r receipt.Receipt) error {
	recs, err := n.ledger.Read(n.w.ctx, r.Origin, 0, 1<<30)
	if err != nil {
		return err
	}
	for i := range recs {
		for _, a := range recs[i].Attachments {
			if recs[i].Seq > r.CompleteThrough {
				return nil
			}
			if err := n.blobs.Verify(n.w.ctx, a.SHA256); err != nil {
				return fmt.Errorf("%s called record %d of %s complete: %w", n.name, recs[i].Seq, r.Origin, err)
			}
		}
	}
	return nil
}

// checkBlobs: a node holds no byte of a lab that it may not see.
func (n *node) checkBlobs() error {
	for ref, err := range n.blobs.List(n.w.ctx) {
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(n.labs, func(id uuid.UUID) bool { return n.w.content[id][ref.SHA256] }) {
			return fmt.Errorf("%s holds bytes of a lab that it may not see", n.name)
		}
	}
	return nil
}

package exchange

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"fmt"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
)

// compareReceipts finds out whether the server went back behind what it once
// acknowledged: then it was restored, and this node sends again what it lacks.
func (s *session) compareReceipts(ctx context.Context) error {
	var kept []receipt.Receipt
	err := s.o.Store.View(ctx, func(r kv.Reader) (err error) {
		kept, err = receipt.All(r, s.o.Server.ID)
		return err
	})
	if err != nil {
		return fmt.Errorf("read the receipts: %w", err)
	}
	for i := range kept {
		var now uint64
		for _, e := range s.w.Vector {
			if e.Origin == kept[i].Origin {
				now = e.Seq
			}
		}
		if now < kept[i].Seq && slices.Contains(s.w.Labs, kept[i].Origin.Lab) {
			s.notice(kept[i].Origin, &problem.Error{Code: problem.Damaged,
				What:  fmt.Sprintf("The server once acknowledged %d records and now holds %d: it was restored from an older backup.", kept[i].Seq, now),
				Where: "chain " + kept[i].Origin.String(),
				Fix:   "What it lacks is sent again now. Tell the administrator of the server."})
		}
	}
	return nil
}

// maxShown bounds the receipts of one hello.
const maxShown = 64

// shownReceipts gives what this server acknowledged of the node's own chains,
// the newest epochs first where there are many.
func (s *session) shownReceipts(ctx context.Context) ([]receipt.Receipt, error) {
	var own []receipt.Receipt
	err := s.o.Store.View(ctx, func(r kv.Reader) error {
		all, err := receipt.All(r, s.o.Server.ID)
		own = slices.DeleteFunc(all, func(rc receipt.Receipt) bool { return rc.Origin.Node != s.o.Ledger.Node() || rc.Seq == 0 })
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the receipts: %w", err)
	}
	slices.SortStableFunc(own, func(a, b receipt.Receipt) int { return cmp.Compare(b.Origin.Epoch, a.Origin.Epoch) })
	return own[:min(len(own), maxShown)], nil
}

// byNextKey says that a receipt is signed by the key that the server announced:
// it may take it up in the middle of a session.
func (s *session) byNextKey(r *receipt.Receipt) bool {
	for _, next := range []ed25519.PublicKey{s.o.Server.Next, s.res.ServerNextKey} {
		if len(next) > 0 && r.Verify(next) == nil {
			return true
		}
	}
	return false
}

// keepReceipt verifies a receipt against the pinned key and this node's own
// chain, and stores it.
func (s *session) keepReceipt(ctx context.Context, c *ownChain, r receipt.Receipt) error {
	if err := r.Verify(s.o.Server.Key); err != nil && !s.byNextKey(&r) {
		return notTheServer(err)
	}
	if r.Server != s.o.Server.ID || r.Origin != c.origin {
		return notTheServer(fmt.Errorf("a receipt of %s for %s, asked for %s", r.Server, r.Origin, c.origin))
	}
	if r.Seq > 0 {
		head, err := s.o.Ledger.Head(ctx, c.origin)
		if err != nil {
			return fmt.Errorf("read the head of %s: %w", c.origin, err)
		}
		if err := s.checkPast(ctx, HeadEntry{Origin: c.origin, Seq: r.Seq, Hash: r.Hash}, c.origin, head); err != nil {
			return err
		}
	}
	err := s.o.Store.Update(ctx, func(tx kv.Tx) error { return receipt.Store(tx, &r) })
	if err != nil {
		return fmt.Errorf("keep the receipt for %s: %w", c.origin, err)
	}
	c.sent, c.through = r.Head(), r.CompleteThrough
	return nil
}

package exchange

import (
	"context"
	"fmt"

	"thudbook/sync/kv"
	"thudbook/sync/record"
)

// TableReturned names the attachments of records that were given back to a
// server which had lost them: class, lab, hash -> size and no time, as in
// TableWanted. It is written before the records are sent, since afterwards
// nothing shows that the server lacks them.
const TableReturned kv.Table = "exchange/returned"

// noteReturned remembers those attachments of records that are here.
func (s *session) noteReturned(ctx context.Context, lab record.LabID, recs []record.Record) error {
	var here []want
	for i := range recs {
		for _, a := range recs[i].Attachments {
			there, err := s.here(ctx, lab, a.SHA256)
			if err != nil {
				return err
			}
			if there {
				here = append(here, want{class: ClassOf(a), lab: lab, ref: BlobRef{SHA256: a.SHA256, Size: a.Size}})
			}
		}
	}
	if len(here) == 0 {
		return nil
	}
	if err := s.putWants(ctx, TableReturned, here); err != nil {
		return fmt.Errorf("remember which attachments to give back: %w", err)
	}
	return nil
}

// sendReturned sends those of a class that the server still lacks. It gives
// false when it stopped for something more urgent.
func (s *session) sendReturned(ctx context.Context, c Class) (bool, error) {
	from := []byte{byte(c)}
	for {
		page, err := s.wantedPage(ctx, TableReturned, c, from)
		if err != nil || len(page) == 0 {
			return true, err
		}
		from = append(page[len(page)-1].key(), 0)
		lab := page[0].lab
		if !s.sees(lab) {
			continue
		}
		refs := make([]BlobRef, len(page))
		for i := range page {
			refs[i] = page[i].ref
		}
		missing, err := s.peer.HaveBlobs(ctx, lab, refs)
		if err != nil {
			return false, fmt.Errorf("ask which attachments are missing: %w", err)
		}
		if err := s.settleHeld(ctx, page, missing); err != nil {
			return false, err
		}
		if err := s.sendBlobs(ctx, record.Origin{Lab: lab}, c, missing, refs); err != nil {
			return false, err
		}
		if s.paused.Load() {
			return false, nil
		}
	}
}

// settleHeld forgets those that the server holds. What is sent in this session
// is forgotten in the next, when the server says that it has it.
func (s *session) settleHeld(ctx context.Context, page []want, missing []Missing) error {
	lacks := make(map[record.Hash]bool, len(missing))
	for _, m := range missing {
		lacks[m.SHA256] = true
	}
	for i := range page {
		if lacks[page[i].ref.SHA256] {
			continue
		}
		if err := s.settle(ctx, TableReturned, &page[i]); err != nil {
			return err
		}
	}
	return nil
}

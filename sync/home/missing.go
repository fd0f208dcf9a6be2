package home

import (
	"context"
	"fmt"

	"thudbook/sync/care"
	"thudbook/sync/exchange"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// The look for missing attachments is a short one: verify reads all.
const (
	lookedThrough = 4096 // records of each own origin, the newest
	namedMissing  = 3    // attachments that are missing, told one by one
)

// missing looks whether the attachments are here that own records name, which
// are written after them. Cards of people may have been erased; verify knows.
func (x *examination) missing(ctx context.Context, r kv.Reader) error {
	heads, err := ledger.ScanHeads(r)
	if err != nil {
		return nil // told before
	}
	waits, err := exchange.Wanted(r)
	if err != nil {
		return err
	}
	seen := make(map[record.Hash]bool)
	gone := 0
	for o, h := range heads {
		if o.Node != x.id {
			continue
		}
		for s, err := range ledger.Chain(r, o, h.Seq-min(h.Seq, lookedThrough)) {
			if err != nil {
				return err
			}
			if s.Damage != nil {
				continue // told before, or by verify
			}
			for _, a := range s.Record.Attachments {
				if seen[a.SHA256] || waits[a.SHA256] || a.Role == lab.RolePerson {
					continue
				}
				seen[a.SHA256] = true
				has, _, err := x.blobs.Has(ctx, a.SHA256)
				if err != nil && problem.Of(err) != problem.Damaged {
					return err
				}
				if has {
					continue
				}
				if gone++; gone <= namedMissing {
					x.e.bad(care.Damaged, fmt.Sprintf("attachment %s, %d bytes (%s), is named by record %d of own origin %s but not stored here", a.SHA256, a.Size, a.Role, s.Seq, o),
						"keep this folder; a backup of it or the server may hold the bytes. thudbook verify names all that is missing")
				}
			}
		}
	}
	switch {
	case gone > namedMissing:
		x.e.bad(care.Damaged, fmt.Sprintf("%d attachments in all are missing", gone), "thudbook verify names them")
	case gone == 0:
		x.e.good("attachments: all %d that the last %d own records name are here; verify reads their bytes", len(seen), lookedThrough)
	}
	return nil
}

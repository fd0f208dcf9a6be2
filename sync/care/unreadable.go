package care

import (
	"context"
	"fmt"

	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// block is how many records are tried in one transaction.
const block = 64

// unreadable names the records that cannot be read any more, after damage to the
// store broke off the walk: each is asked for by its place alone, and a block
// that cannot be read is tried record by record. How far a chain goes is taken
// from its head entry, and from the anchor where heads cannot be read.
func (v *verifier) unreadable(ctx context.Context) error {
	ends := ledger.AnchorEnds(v.src.Anchor, v.src.Node)
	err := v.src.Store.View(ctx, func(r kv.Reader) error {
		heads, err := ledger.ScanHeads(r)
		for o, h := range heads {
			if h.Seq > ends[o].Seq {
				ends[o] = h.Head
			}
		}
		return err
	})
	if err != nil && problem.Of(err) != problem.Damaged {
		return err
	}
	if err != nil {
		v.report.Unchecked = append(v.report.Unchecked, "origins of other nodes whose ends could not be read")
	}
	for o := range ends {
		if err := v.unreadableOf(ctx, o, ends[o].Seq); err != nil {
			return err
		}
	}
	return nil
}

func (v *verifier) unreadableOf(ctx context.Context, o record.Origin, end uint64) error {
	var from uint64 // of the run of bad ones that is open, 0 when none is
	flush := func(next uint64) {
		if from > 0 && from == next-1 {
			v.report.find(Damaged, "record %d of origin %s cannot be read", from, o)
		} else if from > 0 {
			v.report.find(Damaged, "records %d to %d of origin %s cannot be read", from, next-1, o)
		}
		from = 0
	}
	for lo := uint64(1); lo <= end; lo += block {
		hi := min(lo+block-1, end)
		good, err := v.readable(ctx, o, lo, hi)
		if err != nil {
			return err
		}
		for seq := lo; seq <= hi; seq++ {
			ok := good
			if !ok && hi > lo {
				if ok, err = v.readable(ctx, o, seq, seq); err != nil {
					return err
				}
			}
			switch {
			case ok:
				flush(seq)
			case from == 0:
				from = seq
			}
		}
	}
	flush(end + 1)
	return nil
}

// readable tells whether all records of a range can be read; the error is one
// that is no damage.
func (v *verifier) readable(ctx context.Context, o record.Origin, lo, hi uint64) (bool, error) {
	err := v.src.Store.View(ctx, func(r kv.Reader) error {
		for seq := lo; seq <= hi; seq++ {
			if err := ledger.CheckRecord(r, o, seq); err != nil {
				return err
			}
		}
		return ctx.Err()
	})
	switch {
	case err == nil:
		return true, nil
	case problem.Of(err) == problem.Damaged:
		return false, nil
	}
	return false, fmt.Errorf("records %d to %d of %s: %w", lo, hi, o, err)
}

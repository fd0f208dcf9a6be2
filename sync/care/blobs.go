package care

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"slices"

	"thudbook/sync/blob"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// attachments reads everything that records name, and counts what none names.
func (v *verifier) attachments(ctx context.Context) error {
	if v.src.Blobs == nil {
		if len(v.named) > 0 {
			v.report.Unchecked = append(v.report.Unchecked, fmt.Sprintf("%d attachments (no blob store was given)", len(v.named)))
		}
		return nil
	}
	if v.src.Wanted != nil {
		err := v.src.Store.View(ctx, func(r kv.Reader) error {
			wanted, err := v.src.Wanted(r)
			for h := range wanted {
				if n, ok := v.named[h]; ok {
					n.due = false
					v.named[h] = n
				}
			}
			return err
		})
		if problem.Of(err) == problem.Damaged {
			v.report.find(Damaged, "%v", err)
		} else if err != nil {
			return err
		}
	}
	hashes := slices.SortedFunc(maps.Keys(v.named), func(a, b record.Hash) int { return bytes.Compare(a[:], b[:]) })
	erased := v.cards.erased()
	for _, h := range hashes {
		if err := v.attachment(ctx, h, v.named[h], erased[h]); err != nil {
			return err
		}
	}
	for ref, err := range v.src.Blobs.List(ctx) {
		if err != nil {
			return err
		}
		if _, ok := v.named[ref.SHA256]; !ok {
			v.report.Orphans++
		}
	}
	return v.quarantine()
}

func (v *verifier) attachment(ctx context.Context, h record.Hash, want named, erased bool) error {
	has, n, err := v.src.Blobs.Has(ctx, h)
	if err == nil && has && n == want.size {
		err = v.src.Blobs.Verify(ctx, h)
	}
	switch {
	case err != nil && problem.Of(err) != problem.Damaged:
		return err
	case err != nil:
		v.report.find(Damaged, "attachment: %v", err)
	case !has && erased:
		v.report.Erased++
		return nil
	case !has && !want.due:
		v.report.Awaited++
		return nil
	case !has:
		v.report.find(Damaged, "attachment %s, %d bytes, is named by a record but not stored here", h, want.size)
	case n != want.size:
		v.report.find(Damaged, "attachment %s has %d bytes, its record says %d", h, n, want.size)
	}
	v.report.Attachments++
	v.report.BlobBytes += n
	return nil
}

// quarantine notes what lies aside; it is not damage that is in use.
func (v *verifier) quarantine() error {
	q, ok := v.src.Blobs.(interface {
		Quarantined() ([]blob.Quarantined, error)
	})
	if !ok {
		return nil
	}
	all, err := q.Quarantined()
	if len(all) > 0 {
		v.report.Notes = append(v.report.Notes, fmt.Sprintf("%d files lie in quarantine, the first is %s", len(all), all[0].Name))
	}
	return err
}

package view

import (
	"context"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// SkipRow says that a planned hit was skipped (lab.RunSkip), or put back into the
// run order (lab.RunBack). Its id is the campaign's.
type SkipRow struct {
	Head
	Order lab.RunOrder
}

// At is when it was said.
func (r *SkipRow) At() lab.Time { return lab.At(r.RecordedAt) }

func skipRow(s *said[lab.RunOrder]) SkipRow {
	return SkipRow{Head: Head{ID: s.Body.Campaign, Lab: s.Lab, Author: s.Author, RecordedAt: utc(s.WallNS), stamp: s.Stamp}, Order: s.Body}
}

// Skips lists which planned hits were skipped and put back, newest first; moves
// are left out. People say them one by one, so all of them are read.
func (v *Reader) Skips(ctx context.Context, sc scope.Scope, f LogFilter, page Page) (out List[SkipRow], err error) {
	after, err := parseCursor(page.After)
	if err != nil {
		return out, err
	}
	type placed struct {
		row SkipRow
		at  place
	}
	var all []placed
	err = v.store.View(ctx, func(r kv.Reader) error {
		all = nil
		for s, err := range v.set.runs.Scan(r, nil, nil, false) {
			if err != nil {
				return err
			}
			row := skipRow(s)
			t := row.At()
			if !sc.Allows(s.Lab) || s.Body.Do != lab.RunSkip && s.Body.Do != lab.RunBack || t < f.From || f.To != 0 && t >= f.To {
				continue
			}
			p := place{when(t), v.set.runs.Key(s)}
			if after == nil || p.compare(*after) < 0 {
				all = append(all, placed{row, p})
			}
		}
		return nil
	})
	slices.SortFunc(all, func(a, b placed) int { return b.at.compare(a.at) })
	for i := range all {
		if i == page.limit() {
			out.Next = all[i-1].at.cursor()
			break
		}
		out.Rows = append(out.Rows, all[i].row)
	}
	return out, err
}

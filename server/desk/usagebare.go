package desk

import (
	"context"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/view"
)

// rigMonth is a rig and the first instant of a month.
type rigMonth struct {
	rig  uuid.UUID
	from lab.Time
}

// withoutFile is the row of strokes that nobody's file tells of: dry ones by one
// tap, files that came twice and count, and what the controller counted beyond.
const withoutFile = "counted without a file"

// monthOf is the first instant of the month that t lies in.
func monthOf(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, t.Location())
}

// addBare adds the strokes that the rigs' counters hold beyond those with a
// file, so that a report comes to what the counters come to.
func (r *report) addBare(ctx context.Context, read *view.Reader, q *usageAsked) error {
	for rig := range r.rigs {
		for at := q.from; at.Before(q.to); at = at.AddDate(0, 1, 0) {
			end := at.AddDate(0, 1, 0)
			all, err := read.Strokes(ctx, q.sc, rig, lab.At(at), lab.At(end))
			if err != nil {
				return err
			}
			n := all - r.filed[rigMonth{rig, lab.At(at)}]
			if n == 0 {
				continue
			}
			name := withoutFile
			switch r.by {
			case "rig":
				name = rigName(r.rigs, rig)
			case "month":
				name = at.Format("2006-01")
			}
			r.row(name).strokes += n
		}
	}
	return nil
}

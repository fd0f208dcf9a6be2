package present

import (
	"context"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Found are strokes of which there is neither a file of their own nor an entry: the
// controller's counter had them, or a person counted a file that was seen again.
type Found struct {
	ID      uuid.UUID
	At      lab.Time // of the reading that found them, or of the file
	What    string
	Number  int64
	Reason  string
	Author  string
	Reading bool // the counter had them
}

// FoundStrokes lists those of a rig with from <= t < to, oldest first.
func FoundStrokes(ctx context.Context, v *view.Reader, sc scope.Scope, rig uuid.UUID, from, to lab.Time) (out []Found, err error) {
	reads, err := v.Readings(ctx, sc, rig, from, to)
	if err != nil {
		return nil, err
	}
	for i := range reads {
		r := &reads[i]
		if n := r.Unaccounted(); n > 0 {
			out = append(out, Found{ID: r.ID, At: r.Reading.EffectiveAt, What: Count(n, "stroke that only the counter has", "strokes that only the counter has"), Number: n, Reason: r.Reading.Reason, Author: r.Author, Reading: true})
		}
	}
	for q := (view.Page{Limit: view.MaxLimit}); ; {
		list, err := v.Sightings(ctx, sc, view.SightingFilter{}, q)
		if err != nil {
			return nil, err
		}
		for i := range list.Rows {
			r := &list.Rows[i]
			at := r.Sighting.EffectiveAt
			if at < from {
				list.Next = "" // what follows is older still
				break
			}
			if at < to && r.Sighting.Rig == rig && r.Settled != nil && r.Settled.Count {
				out = append(out, Found{ID: r.ID, At: at, What: "stroke counted for a file seen again", Number: 1, Reason: r.Sighting.FileName + " has the bytes of a shot that was taken in before", Author: r.Settled.Author})
			}
		}
		if q.After = list.Next; list.Next == "" {
			break
		}
	}
	slices.SortStableFunc(out, func(a, b Found) int { return int(min(max(a.At-b.At, -1), 1)) })
	return out, nil
}

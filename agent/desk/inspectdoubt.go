package desk

import (
	"context"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/web/page"
	"thudbook/web/present"
)

// inspectSlack is how far the typed time of an inspection may be off without a
// word: a form may send whole minutes.
const inspectSlack = time.Minute

// hitBetween is when the specimen was hit last after the hit that is inspected and
// before a time; zero: not at all. A correction was asked about when it was first
// recorded.
func (d *Desk) hitBetween(ctx context.Context, in *inspecting, until lab.Time) (lab.Time, error) {
	if in.corrects != uuid.Nil || until == 0 {
		return 0, nil
	}
	last, err := d.read.LastHit(ctx, d.scope(), in.row.Shot.Specimen, until)
	if err != nil || last == nil || last.Shot == in.row.ID || last.At <= in.row.Shot.EffectiveAt {
		return 0, err
	}
	return last.At, nil
}

// doubt asks once about a time that no inspection of this hit is likely to
// have: one that is still to come, one before the hit, or one after the specimen
// was hit again, at later.
func (in *inspecting) doubt(i *lab.Inspection, faults map[string]string, later lab.Time, now time.Time) {
	at, hit := i.EffectiveAt.Time(), in.row.Shot.EffectiveAt.Time()
	why := ""
	switch {
	case faults["effective_at"] != "":
		return
	case at.After(now.Add(inspectSlack)):
		why = "This time is still to come; it is now " + page.ShowMoment(now.In(time.Local)) + ". Was it mistyped?"
	case at.Before(hit.Add(-inspectSlack)):
		why = "This is before the hit, which was at " + page.ShowMoment(hit.In(time.Local)) + ". Was it mistyped?"
	case later != 0:
		why = "The specimen was hit again before this time, at " + page.ShowMoment(present.Moment(later, time.Local)) + ". Is what was seen the damage of this hit? Else inspect it after that one."
	default:
		return
	}
	in.doubted = true
	in.values[page.DoubtField] = in.pressed.Get(page.DoubtField)
	if in.values[page.DoubtField] == "" {
		faults["effective_at"] = why
	}
}

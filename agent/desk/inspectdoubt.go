package desk

import (
	"time"

	"thudbook/sync/lab"
	"thudbook/web/page"
)

// inspectSlack is how far the typed time of an inspection may be off without a
// word: a form may send whole minutes.
const inspectSlack = time.Minute

// doubt asks once about a time that no inspection of this hit is likely to
// have: one that is still to come, or one before the hit.
func (in *inspecting) doubt(i *lab.Inspection, faults map[string]string, now time.Time) {
	at, hit := i.EffectiveAt.Time(), in.row.Shot.EffectiveAt.Time()
	why := ""
	switch {
	case faults["effective_at"] != "":
		return
	case at.After(now.Add(inspectSlack)):
		why = "This time is still to come; it is now " + page.ShowMoment(now.In(time.Local)) + ". Was it mistyped?"
	case at.Before(hit.Add(-inspectSlack)):
		why = "This is before the hit, which was at " + page.ShowMoment(hit.In(time.Local)) + ". Was it mistyped?"
	default:
		return
	}
	in.doubted = true
	in.values[page.DoubtField] = in.pressed.Get(page.DoubtField)
	if in.values[page.DoubtField] == "" {
		faults["effective_at"] = why
	}
}

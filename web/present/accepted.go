package present

import (
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Accepted says by whom and when the result of a shot was accepted, and whether it
// is the one that holds; no word where nobody did.
func Accepted(a *view.Acceptance, r *view.ShotRow, name func(string) string, zone *time.Location) page.Status {
	if a == nil {
		return page.Status{}
	}
	words := AcceptedWords(a, name, zone)
	switch {
	case r.Void():
		return page.Status{Level: page.Plain, Word: words + "; made void"}
	case !a.Of(r):
		return page.Status{Level: page.Warn, Word: words + ", before it was computed again"}
	}
	return page.Status{Level: page.OK, Word: words}
}

// AcceptedWords says by whom and when a result was accepted.
func AcceptedWords(a *view.Acceptance, name func(string) string, zone *time.Location) string {
	who := Who(a.Author, name)
	if who != Who(lab.AuthorRig, nil) {
		who = "by " + who
	}
	return "Accepted " + who + " at " + page.ShowMoment(a.RecordedAt.In(zone))
}

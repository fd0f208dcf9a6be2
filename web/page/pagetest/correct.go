package pagetest

import (
	"time"

	"thudbook/web/page"
)

// correctable adds the forms and the history of a shot that was corrected.
func correctable(s *page.Shot) {
	form := assignForm("c")
	form.ID, form.Action, form.Submit = "correct", page.CorrectPath(s.ID), "Save the correction"
	s.Correct = &form
	s.Fired = &page.Form{ID: "fired", Action: page.FiredPath(s.ID), Fields: page.FiredFields(), Submit: "Save the time", Values: map[string]string{"fired_at": "2031-03-14T15:08:45"}}
	s.Void = &page.Form{ID: "void", Action: page.VoidPath(s.ID), Fields: page.VoidFields(), Submit: "Make it void"}
	s.Unsettled = []page.Unsettled{{Field: "specimen", Label: "Specimen", Action: page.SettlePath(s.ID), Seen: "0a1b", Values: []page.Version{
		{Keep: "n/1/4", Text: "FG-A-012", By: "r.example", At: ago(2 * time.Minute)}, {Keep: "m/1/9", Text: longName, By: "at the rig", At: ago(3 * time.Minute)}}}}
	s.History = []page.HistoryRow{
		{At: ago(4 * time.Minute), By: "as taken in", What: "Specimen", Text: "not recorded"},
		{At: ago(3 * time.Minute), By: "at the rig", What: "Specimen", Text: longName},
		{At: ago(2 * time.Minute), By: "r.example", What: "Specimen", Text: "FG-A-012"},
		{At: ago(time.Minute), By: "r.example", What: "Made void", Text: "chin strap came loose"},
		{At: ago(30 * time.Second), By: "r.example", What: "Counts again", Text: "the film shows the strap closed"},
	}
}

package pagetest

import (
	"fmt"
	"time"

	"thudbook/web/page"
)

// reviews shows what was found outside its limits, tried and recorded.
func reviews() []Item {
	f := serverFrame("Changed sensitivities", page.PathHealth)
	found := "Certificate K-2031-014 found the sensitivity +5.0 % off the one of certificate K-2030-118; limit ±2.0 %, set with certificate K-2031-014."
	rows := []page.ReviewListRow{
		{Lab: "Northmere lab", Item: "accelerometer X, AC-0441", On: Now().AddDate(0, 0, -3), Text: found, State: page.Status{Level: page.Bad, Word: "no review yet"}, Href: page.NewReviewPath("k1")},
		{Lab: "Harbour lab", Item: "rate sensor Y, RS-0107", On: Now().AddDate(0, -5, 0), Text: found, State: page.Status{Level: page.OK, Word: "reviewed, NC-7"}, Href: page.ReviewPath("r1")},
	}
	tried := review(3, 4)
	tried.Choose = &page.ReviewChoice{Found: "k1", Course: "step", StepAt: "2031-02-03T10:00:00"}
	tried.Form = &page.Form{ID: "review", Action: page.PostReview, Key: "k", Submit: "Record the review and the new results", Fields: page.ReviewFields()}
	wrong := tried
	wrong.Choose = &page.ReviewChoice{Found: "k1", Course: "step", Error: "Give the moment from which the found sensitivity is taken to hold."}
	wrong.Groups, wrong.Counts, wrong.Form = nil, nil, nil
	computing := wrong
	computing.Choose = &page.ReviewChoice{Found: "k1", Course: "linear"}
	computing.Progress = &page.Progress{Done: 412, Of: 1630}
	recorded := review(3, 4)
	recorded.Recorded = &page.RecordedReview{Number: "NC-8", At: Now(), By: "Ada Verrin", Course: "in a straight line from the good value to the found one", Why: "Drift of the last three calibrations was even.", Cause: "Cable strained at the neck.", Action: "Sensor out of use, cable replaced.", Told: "The two departments that own the campaigns, 2031-03-12.", Significance: "One verdict changes; the work is not acceptable as reported.", Halted: "Report R-12 called back."}
	recorded.CSV = "/reviews/r1/shots.csv"
	recorded.Withdraw = &page.Form{ID: "withdraw", Action: "/reviews/r1/withdraw", Key: "k", Submit: "Withdraw the review", Fields: page.ReasonFields()}
	recorded.Again = &page.Form{ID: "again", Action: "/reviews/r1/again", Key: "k", Submit: "Recalculate the rest"}
	working := recorded
	working.Progress, working.Stop, working.Again, working.Withdraw = &page.Progress{Done: 12, Of: 400}, &page.Form{ID: "stop", Action: "/reviews/r1/stop", Key: "k", Submit: "Stop"}, nil, nil
	failed := recorded
	failed.Failed = "The store cannot be written. Free some space on its disk."
	withdrawn := recorded
	again := *recorded.Recorded
	again.Withdrawn, withdrawn.Again, withdrawn.Withdraw = "The certificate was of another sensor.", nil, nil
	withdrawn.Recorded = &again
	full := review(30, 40)
	full.Recorded = recorded.Recorded
	full.Cut = "The first 2 000 of 2 410 strokes are shown, and all whose verdict changes. The table as CSV has all once the review is recorded."
	none := review(0, 0)
	none.Recorded = recorded.Recorded
	return []Item{{"reviews", page.Reviews{Frame: f, Rows: rows}}, {"reviews-empty", page.Reviews{Frame: f}}, {"review-try", tried}, {"review-wrong", wrong}, {"review-computing", computing},
		{"review", recorded}, {"review-working", working}, {"review-failed", failed}, {"review-withdrawn", withdrawn}, {"review-full", full}, {"review-none", none}}
}

func review(groups, each int) page.Review {
	s := page.Review{Frame: serverFrame("Changed sensitivity: accelerometer X, AC-0441", page.PathHealth), Item: "accelerometer X, AC-0441", ItemHref: "/equipment/use/s1", Lab: "Northmere lab",
		Good:   page.ReviewCertificate{Number: "K-2030-118", On: Now().AddDate(-1, 0, 0), Sensitivity: page.Show(1.0, "mV/g"), Laboratory: "Calibration house Lindau Street"},
		Found:  page.ReviewCertificate{Number: "K-2031-014", On: Now().AddDate(0, 0, -3), Sensitivity: page.Show(1.05, "mV/g"), AsLeft: page.Show(1.0, "mV/g")},
		Change: "+5.0 %", Limit: "limit ±2.0 %, set with certificate K-2031-014",
		Columns: []string{"Peak linear acceleration, g", "Severity index, SI", "HIC, 15 ms, HIC"}}
	n := groups * each
	s.Counts = []page.ReviewCount{{Name: "shots and dry strokes with this sensor in between", Count: page.ShowCount(int64(n))}, {Name: "results recalculated", Count: page.ShowCount(int64(n))},
		{Name: "results that change", Count: page.ShowCount(int64(n)), Level: page.Warn}, {Name: "verdicts that change", Count: "1", Level: page.Bad}}
	pair := func(a, b float64, unit string) page.Pair {
		return page.Pair{Before: page.Show(a, unit), After: page.Show(b, unit)}
	}
	for g := range groups {
		group := page.ReviewGroup{Campaign: "Spring comparison, wet", Specimen: fmt.Sprintf("HM-%03d with guard FG-%03d", g, g*7)}
		for i := range each {
			row := page.ReviewRow{Href: "/shots/s", At: Now().Add(-time.Duration(i+1) * 26 * time.Hour), What: "front", Held: page.Show(1.02, "mV/g"), Revision: "1 → 2",
				Cells:  []page.Pair{pair(102.1+float64(i), 97.2+float64(i), "g"), pair(410, 361.4, "SI"), pair(312, 275.8, "HIC")},
				Before: page.Status{Level: page.OK, Word: "within"}, After: page.Status{Level: page.OK, Word: "within"}}
			switch i {
			case 1:
				row.Before, row.Flips = page.Status{Level: page.Bad, Word: "HIC, 15 ms above 300 HIC"}, true
			case 2:
				row.What, row.Before, row.After = "dry stroke", page.Status{Word: "no limit"}, page.Status{Word: "no limit"}
				row.Cells = []page.Pair{{Before: page.Missing("no result"), After: page.Missing("no result")}, {Before: page.Missing("no result"), After: page.Missing("no result")}, {Before: page.Missing("no result"), After: page.Missing("no result")}}
				row.Revision, row.Why = "", "it has no result"
			}
			group.Rows = append(group.Rows, row)
		}
		s.Groups = append(s.Groups, group)
	}
	return s
}

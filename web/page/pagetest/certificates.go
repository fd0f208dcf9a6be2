package pagetest

import (
	"fmt"

	"thudbook/web/chart"
	"thudbook/web/page"
)

// certificates shows all certificates of an item.
func certificates() []Item {
	s := page.Certificates{Frame: serverFrame("Certificates of accelerometer X, AC-0441", page.PathEquipment), ID: "s1", Item: "accelerometer X, AC-0441", Kind: "sensor", Lab: "Northmere lab", State: page.Status{Level: page.OK, Word: "in calibration"}, CSV: "/equipment/certificates/s1/list.csv"}
	file := page.DocumentRow{Title: "K-2031-014.pdf", Name: "K-2031-014.pdf", Href: "/documents/d1", Size: page.ShowBytes(812_345), At: Now(), By: "Ada Verrin", Off: "/documents/d1/off", Key: "k"}
	rows := []page.CertificateRow{
		{ID: "k2", Number: "K-2031-014", On: Now().AddDate(0, 0, -3), Due: Now().AddDate(1, 0, -3), Laboratory: "Calibration house Lindau Street", Reference: "REF-8", AsFound: page.Show(1.05, "mV/g"), AsLeft: page.Show(1, "mV/g"), Uncertainty: page.Show(1.5, "%"),
			Change: "+5.0 %, ±2.0 %", State: page.Status{Level: page.Bad, Word: "outside its limit"}, Review: "/reviews/new?found=k2", By: "Ada Verrin", Recorded: Now(), Files: []page.DocumentRow{file}},
		{ID: "k1", Number: "K-2030-118", On: Now().AddDate(-1, 0, 0), Due: Now(), AsFound: page.Missing("adjusted, not reported"), AsLeft: page.Show(1, "mV/g"), Uncertainty: page.Show(1.5, "%"), Change: "+0.4 %, ±2.1 %", State: page.Status{Level: page.OK, Word: "explained by the uncertainties"}, Recorded: Now().AddDate(-1, 0, 80), Late: true},
		{ID: "k0", Number: "K-2029-007", On: Now().AddDate(-2, 0, 0), Due: Now().AddDate(-1, 0, 0), AsFound: page.Missing("not written down"), AsLeft: page.Missing("not on the certificate"), Uncertainty: page.Missing("not on the certificate"), Recorded: Now().AddDate(-2, 0, 0)},
	}
	normal := s
	normal.Rows, normal.Files = rows, []page.DocumentRow{{Title: "Manual of the maker", Href: "/documents/d2", Size: "2.1 MB", At: Now()}, {Title: "Photo of the cable", Size: "1.1 MB", At: Now(), By: "Ada Verrin"}}
	normal.Advice = &page.IntervalAdvice{Text: "Shorter: 219 days after the last calibration (the last interval was 365 days).", Why: "The last calibration found 227 % of the limit used up. An interval that ends outside the limit is followed by one of 60 %.", Drift: "Over all calibrations the sensitivity drifted by +2.7 % a year. At that rate the limit is reached after 298 days."}
	normal.Chart = chart.Scatter{XLabel: "months since 2029-03-14", Unit: "mV/g", Series: []chart.Series{{Label: "as left", X: []float64{0, 12, 24}, Y: []float64{1, 1, 1}}, {Label: "as found", X: []float64{12, 24}, Y: []float64{1.004, 1.05}},
		{Label: "limits of the change, lower", Line: true, Dash: "y", X: []float64{0, 24}, Y: []float64{0.978, 0.978}}, {Label: "upper", Line: true, Dash: "y", X: []float64{0, 24}, Y: []float64{1.022, 1.022}}}}.HTML()
	normal.ChartNote = "1 certificate without a sensitivity, or in another unit, left out."
	normal.Upload = &page.Upload{Key: "k", Item: "s1", Choices: []page.Choice{{Value: "k2", Text: "certificate K-2031-014 of 2031-03-11"}, {Text: "another file of the item"}}}
	normal.Calibration = &page.Form{ID: "calibration", Action: "/equipment/certificates/s1", Key: "k", Submit: "Record the certificate", Fields: page.CalibrationFields(), Choices: map[string][]page.Choice{"item": {{Value: "s1", Text: "accelerometer X, AC-0441"}}}}
	wrong := normal
	up := *normal.Upload
	up.Error = "The file is no PDF and no picture (it looks like text/plain). Save it as PDF."
	wrong.Upload = &up
	full := normal
	full.Rows = nil
	for i := range 60 {
		r := rows[i%3]
		r.Number = fmt.Sprintf("K-%04d-OF-A-LABORATORY-WITH-LONG-NUMBERS", i)
		full.Rows = append(full.Rows, r)
	}
	return []Item{{"certificates", normal}, {"certificates-empty", s}, {"certificates-wrong", wrong}, {"certificates-full", full}}
}

// lateFacts shows what was entered after the fact.
func lateFacts() []Item {
	f := serverFrame("Entered late", page.PathHealth)
	late := []page.LateRow{
		{Lab: "Northmere lab", Item: "accelerometer X, AC-0441", What: "certificate K-2031-014", At: Now().AddDate(0, 0, -30), Recorded: Now().AddDate(0, 0, -2), Late: "28 days late", By: "Ada Verrin", Strokes: "212", State: page.Status{Level: page.Warn, Word: "198 results computed before it was entered"}, Href: "/late/certificate/k2"},
		{Lab: "Harbour lab", Item: "ram two, R-1002", What: "service", At: Now().AddDate(0, 0, -9), Recorded: Now().AddDate(0, 0, -7), Late: "2 days late", Strokes: "31", State: page.Status{Word: "counters follow by themselves"}, Href: "/late/service/s1"},
		{Item: "rate sensor X, RS-0107", What: "mounted at rig one, position wx", At: Now().AddDate(0, 0, -9), Recorded: Now().AddDate(0, 0, -7), Late: "2 days late", Strokes: "0", State: page.Status{Level: page.OK, Word: "none rests on what held before"}, Href: "/late/mounting/m1"},
	}
	one := page.LateFact{Frame: f, Row: late[0], ItemHref: "/equipment/use/s1", Means: "This certificate holds for them.", Shots: rows(4), CSV: "/late/certificate/k2/shots.csv",
		Again: &page.Form{ID: "again", Action: "/late/certificate/k2/again", Key: "k", Submit: "Score 198 strokes again"}}
	working, none := one, one
	working.Again, working.Stop, working.Progress = nil, &page.Form{ID: "stop", Action: "/late/certificate/k2/stop", Key: "k", Submit: "Stop"}, &page.Progress{Done: 3, Of: 198}
	working.Failed = "It was stopped before its end."
	none.Shots, none.Again, none.Row = nil, nil, late[2]
	full := page.LateFacts{Frame: f, Days: 90}
	for i := range 90 {
		r := late[i%3]
		r.Item = fmt.Sprintf("item %d of a name that somebody made much too long, SERIAL-%08d", i, i*7919)
		full.Rows = append(full.Rows, r)
	}
	return []Item{{"late", page.LateFacts{Frame: f, Days: 90, Rows: late}}, {"late-empty", page.LateFacts{Frame: f, Days: 90}}, {"late-full", full}, {"late-fact", one}, {"late-fact-working", working}, {"late-fact-none", none}}
}

// entries shows one entry of an item's history.
func entries() []Item {
	f := serverFrame("accelerometer X, AC-0441: calibration, certificate K-2031-014", page.PathEquipment)
	event := page.ItemEvent{At: Now().AddDate(0, 0, -30), What: "calibration, certificate K-2031-014", Why: "due again on 2032-03-11", By: "Ada Verrin"}
	off := event
	off.Withdrawn = "It is of another sensor."
	withdraw := page.Form{ID: "withdraw", Action: "#", Fields: page.ReasonFields(), Submit: "Withdraw the entry"}
	entry := page.Entry{Frame: f, Item: "accelerometer X, AC-0441", ItemHref: "/equipment/use/s1", Event: event, Recorded: Now().AddDate(0, 0, -2), Follows: "Without it the certificate before holds again.", Withdraw: &withdraw}
	gone := entry
	gone.Event, gone.Withdraw = off, nil
	wrong := withdraw
	wrong.Errors = map[string]string{"reason": "This is needed."}
	bad := entry
	bad.Withdraw = &wrong
	return []Item{{"entry", entry}, {"entry-withdrawn", gone}, {"entry-error", bad}}
}

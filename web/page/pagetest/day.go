package pagetest

import (
	"time"

	"thudbook/web/page"
)

func days() []Item {
	f := agentFrame("Day report", page.PathDay, page.AgentCounts{})
	shot := func(i int) page.DayShot {
		s := page.DayShot{ShotRow: row(i), Condition: "cold", Verdict: page.Status{Level: page.OK, Word: "accepted"}, By: "Wilma Quill",
			Pressure: page.Pressure{Number: page.Show(20.5, "psi"), KPa: page.Show(141.3, "kPa")}, Limits: page.Status{Level: page.OK, Word: "within the limits"}}
		switch i % 7 {
		case 1:
			s.Verdict, s.Reason, s.Limits = page.Status{Level: page.Bad, Word: "void"}, "chin strap open", page.Status{}
		case 3:
			s.Verdict, s.Limits, s.Pressure, s.By = page.Status{Word: "not accepted yet"}, page.Status{Level: page.Bad, Word: "Peak linear acceleration above 100.0 g"}, page.Pressure{Number: page.Missing("not recorded")}, ""
		}
		return s
	}
	check := shot(0)
	check.Specimen, check.Verdict, check.Kind = "P-17", page.Status{Level: page.OK, Word: "good"}, "system check"
	failed := check
	failed.At, failed.Verdict, failed.Reason = ago(6*time.Hour), page.Status{Level: page.Bad, Word: "failed"}, "peak linear acceleration 118 g, above the limit of 112 g"
	p := page.Day{Frame: f, Date: "2031-03-14", Zone: "+01:00", SoFar: true, Previous: page.DayPath("2031-03-13"), CSV: page.PathDay + ".csv?date=2031-03-14", Who: []string{"Wilma Quill", "Otto Reed"},
		Checks: []page.DayShot{failed, check}, Shots: []page.DayShot{shot(7), shot(3), shot(2), shot(1), shot(0)},
		Strokes: []page.DayStrokes{{At: ago(5 * time.Hour), Number: 3, What: "3 dry strokes", Pressure: page.Pressure{Number: page.Show(20.5, "psi"), KPa: page.Show(141.3, "kPa")}, By: "Wilma Quill"},
			{At: ago(3 * time.Hour), Number: 1, What: "fired, no file came", Hit: "FG-A-012, front, ambient", Pressure: page.Pressure{Number: page.Missing("not recorded")}, Reason: "acquisition not armed", By: "Otto Reed"}},
		WentOn: []page.WentOn{{What: []string{"Sensor, S-1, position ax: calibration overdue by 3 days"}, Reason: "the certificate is on its way", By: "Wilma Quill"}},
		Log: []page.LogRow{{At: ago(7 * time.Hour), Kind: "service", About: "Ram, R-100", Text: "seals changed", Parts: []string{"seal set, lot 12"}, Facts: []string{"took 45 min"}, By: "Otto Reed"},
			{At: ago(2 * time.Hour), Kind: "note", Text: "hall at 24 °C", By: "Wilma Quill"}},
		Seen:    []page.InspectionRow{{ID: "i1", Shot: row(1).ID, At: ago(time.Hour), Specimen: "FG-A-012", Verdict: page.Status{Level: page.OK, Word: "passed"}, Findings: []string{"weld: marked"}, Deformation: page.Show(1.2, "mm"), Contact: "no", By: "Wilma Quill"}},
		Mounted: []page.DayMounted{{Position: "ram", Item: "Ram, R-100", Since: ago(41 * 24 * time.Hour)}, {Position: "ax", Item: "Sensor, S-1", Since: ago(90 * 24 * time.Hour)}},
		Due:     []page.ReadyRow{{What: "Sensor, S-1, position ax", State: page.Status{Level: page.Bad, Word: "calibration overdue by 3 days"}, Reason: "Certificate C-31 of 2030-03-11."}, {What: "position gate", State: page.Status{Level: page.Bad, Word: "nothing is mounted"}}},
		Unread:  []string{"shot_0007.csv: no row of numbers was found"},
		Sums:    []page.DaySum{{What: "Shots, without void ones", Count: "4"}, {What: "Of these accepted", Count: "3"}, {What: "Of these with a flag", Count: "1"}, {What: "Void, of every kind", Count: "1"}, {What: "Dry strokes with a file", Count: "0"}, {What: "System checks", Count: "2"}, {What: "Strokes without a file", Count: "4"}, {What: "Inspections", Count: "1"}}}
	empty := page.Day{Frame: f, Date: "2031-03-09", Zone: "+01:00", Previous: page.DayPath("2031-03-08"), Following: page.DayPath("2031-03-10"), CSV: page.PathDay + ".csv?date=2031-03-09"}
	full := p
	full.Shots = nil
	for i := range 240 {
		full.Shots = append(full.Shots, shot(i%90))
	}
	full.Shots[1].Specimen, full.Shots[1].Reason = longName, longName
	for range 5 {
		full.Log, full.Strokes = append(full.Log, full.Log...), append(full.Strokes, full.Strokes...)
	}
	return []Item{{"day", p}, {"day-empty", empty}, {"day-full", full}}
}

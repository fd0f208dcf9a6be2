package pagetest

import (
	"fmt"
	"strings"
	"time"

	"thudbook/sync/lab"
	"thudbook/web/page"
)

// care shows the screens for looking after equipment.
func care() []Item {
	var all []Item
	for _, part := range [][]Item{health(), stockLists(), itemUses(), usages(), reviews(), messages(), certificates(), lateFacts(), entries(), plans(), workOrders(), labels()} {
		all = append(all, part...)
	}
	return all
}

func health() []Item {
	f := serverFrame("What is due", page.PathHealth)
	feed := page.Form{ID: "feed", Action: page.PostFeed, Submit: "Make a new link", Key: "feed-key"}
	rows := []page.HealthRow{
		{Lab: "Northmere lab", Item: "accelerometer Y, AC-0442", Kind: "sensor", Where: "rig one, ay", State: page.Status{Level: page.Bad, Word: "calibration overdue by 12 days"}, Reason: "Certificate K-2030-093 of 2030-03-02.", Href: "/equipment/use/s2"},
		{Lab: "Harbour lab", Item: "ram two, R-1002", Kind: "ram", Where: "rig two, ram", State: page.Status{Level: page.Bad, Word: "service overdue by 312 strokes"}, Reason: "1\u202f312 strokes since the last service, every 1\u202f000.", Href: "/equipment/use/r2", Order: "/equipment/orders/o1", OrderText: "Work order open since 2031-03-12"},
		{Lab: "Hillside lab", Item: "neck, N-2", Kind: "neck", Where: "rig three, neck", State: page.Status{Level: page.Bad, Word: "quarantined, and mounted"}, Reason: "Cable frayed.", Href: "/equipment/use/n2"},
		{Lab: "Hillside lab", Item: "light gate, L-4", Kind: "light gate", Where: "rig three, gate B", State: page.Status{Level: page.Warn, Word: "disagreeing with its twin"}, Reason: "Over the last 5 strokes it read 3.1 % less than gate A (light gate), which may be 2.0 % apart; in the last one 5.33 m/s against 5.5 m/s. Which of the two is wrong is not known: compare both with a third.", Href: "/equipment/use/l4", Evidence: "/shots/x"},
		{Lab: "Hillside lab", Item: "light gate, L-3", Kind: "light gate", Where: "rig three, gate", State: page.Status{Level: page.Bad, Word: "service due: a system check failed"}, Reason: "Check of 2031-03-13 08:02: peak linear acceleration 120 g, above the limit of 110 g. It is due until a service after that is recorded.", Href: "/equipment/use/l3", Evidence: "/shots/x", Order: "/equipment/orders/new?item=l3&cause=failed_check", OrderText: "Open a work order"},
		{Lab: "Northmere lab", Item: "ram one, R-1001", Kind: "ram", Where: "rig one, ram", State: page.Status{Level: page.Warn, Word: "service due in 140 strokes, about 2031-03-24 (2031-03-21 to 2031-03-30)"}, Href: "/equipment/use/r1"},
		{Lab: "Northmere lab", Item: "accelerometer X, AC-0441", Kind: "sensor", State: page.Status{Level: page.Warn, Word: "sensitivity moved by 2.4 %"}, Reason: "More than the uncertainties of K-2029-088 and K-2030-118 explain (E\u2099 = 1.3).", Href: "/equipment/use/s1"},
	}
	day := func(n int) time.Time { return Now().AddDate(0, 0, n) }
	weeks := []page.DueWeek{
		{Past: true, Rows: []page.DueDay{{On: day(-12), Lab: "Northmere lab", Item: "accelerometer Y, AC-0442", What: "calibration", Href: "/equipment/use/s2"}}},
		{From: day(-4), To: day(2), Number: 11, Rows: []page.DueDay{{On: day(1), Lab: "Hillside lab", Item: "hose, H-3", What: "service", Href: "/equipment/use/h3"}}},
		{From: day(10), To: day(16), Number: 13, Rows: []page.DueDay{{On: day(10), Lab: "Northmere lab", Item: "ram one, R-1001", What: "service", Range: "2031-03-21 to 2031-03-30", Href: "/equipment/use/r1"}, {On: day(11), Lab: "Hillside lab", Item: "rate sensor X, RS-0107", What: "calibration"}}},
	}
	normal := page.Health{Frame: f, Labs: labChoices(), Items: 48, Rows: rows, Weeks: weeks, Agents: agentRows(), Feed: feed}
	full := normal
	full.Rows, full.Weeks = nil, nil
	for i := range 80 {
		r := rows[i%len(rows)]
		r.Item = fmt.Sprintf("%s %d of a name that somebody made much too long, SERIAL-%08d", r.Kind, i, i*7919)
		full.Rows = append(full.Rows, r)
	}
	for i := range 40 {
		w := weeks[1+i%2]
		w.Number, w.From, w.To = 1+i%52, day(7*i), day(7*i+6)
		full.Weeks = append(full.Weeks, w)
	}
	made := normal
	made.FeedURL, made.FeedOn = "https://thudbook.example:8443/calendar/"+strings.Repeat("K7QP93TX", 5)+".ics", Now()
	return []Item{{"health", normal}, {"health-empty", page.Health{Frame: f, Feed: feed}}, {"health-link", made}, {"health-full", full}}
}

func stockLists() []Item {
	s := page.StockList{Frame: serverFrame("Register as a list", page.PathEquipment), Labs: labChoices(), MayEdit: true,
		Columns: []string{"class", "serial", "asset_number", "name", "state", "location"}, States: lab.States(), Classes: append(lab.Classes(), "other")}
	wrong, plan, full, reader := s, s, s, s
	wrong.Text = "class,serial,state\nram,R-1,lent\n"
	wrong.Faults = []page.Notice{{Level: page.Bad, Text: "“lent” is no state.", Where: "line 2, column state", Fix: "Write in service, quarantined, at calibration, retired."}}
	change := []page.StockChange{{Field: "service_every_strokes", From: "500", To: "1000"}, {Field: "state", From: "at calibration", To: "in service"}}
	lines := []page.StockLine{
		{Line: 2, Item: "ram one, R-1001", Changes: change},
		{Line: 4, Item: "hose, H-3", New: true, Changes: []page.StockChange{{Field: "class", To: "hose"}, {Field: "serial", To: "H-3"}}, Note: "The register has this serial number as neck, H-3, of another class."},
	}
	plan.Plan = &page.StockPlan{All: 5, New: 1, Edit: 1, Lines: lines, Text: "class,serial\n", Digest: "x", Key: "k"}
	p := page.StockPlan{All: 400, Edit: 200, New: 200, Text: "class,serial\n", Digest: "x", Key: "k"}
	for i := range 400 {
		l := lines[i%2]
		l.Line = i + 2
		p.Lines = append(p.Lines, l)
	}
	full.Plan = &p
	reader.MayEdit = false
	return []Item{{"stock-list", plan}, {"stock-list-empty", s}, {"stock-list-error", wrong}, {"stock-list-full", full}, {"stock-list-reader", reader}}
}

func itemUses() []Item {
	form := func(id, action string, fields []page.Field, submit string) page.Form {
		return page.Form{ID: id, Action: action, Fields: fields, Submit: submit, Key: id + "-key", Values: map[string]string{"item": "r1"}}
	}
	u := page.ItemUse{Frame: serverFrame("ram one, R-1001", page.PathEquipment), ID: "r1", Item: "ram one, R-1001", Kind: "ram", Lab: "Northmere lab", Asset: "A-0031", Model: "model 40",
		State: page.Status{Level: page.OK, Word: "in service"}, Where: "rig one, ram",
		Service: page.Status{Level: page.Warn, Word: "due in 140 strokes, about 2031-03-24 (2031-03-21 to 2031-03-30)"}, Rate: "12.0 strokes a day over the last 13 weeks; the range holds the date nine times in ten if use goes on as it was.",
		Orders: []page.WorkOrderRow{{ID: "o1", What: "Change the piston seals.", AssignedTo: "workshop", State: page.Status{Level: page.Warn, Word: "open since 2031-03-12"}}}, NewOrder: "/equipment/orders/new?item=r1&cause=by_hand",
		Plan: "Plan of every ram: every 1\u202f000 strokes, after the speed has drifted.", PlanHref: page.PathPlans,
		Causes: []page.SeenCause{{State: page.Status{Level: page.Bad, Word: "service due: the speed at a given pressure has drifted"},
			Reason: "Since the stroke of 2031-03-12 10:41 a control chart is beyond its limits: slower by about 0.12 m/s against the first strokes since the ram’s service. It is due until a service after that is recorded.", Href: "/shots/x"}},
		Strokes: page.ShowCount(14_230), Opening: page.ShowCount(12_000), Corrected: "12", SinceService: "860", Shots: page.ShowCount(1904), DaysMounted: "212 days", Energy: page.Show(268_400, "J"), EnergyOf: "2\u202f020 strokes",
		Hardest: page.Show(148.2, "g"), HardestHref: "/shots/x", HardestAt: ago(40 * 24 * time.Hour), MayEdit: true,
		StateForm:      form("state", page.PostState, page.StateFields(), "Record the state"),
		PlanForm:       form("plan", page.PostPlan, page.PlanFields(), "Change the plan"),
		CorrectionForm: form("correction", page.PostCorrection, page.CorrectionFields(), "Correct the counter"),
		Events: []page.ItemEvent{
			{At: ago(24 * time.Hour), What: "counter corrected by +12 strokes", Why: "Dry strokes with the logger off.", By: "R. Example"},
			{At: ago(70 * 24 * time.Hour), What: "service", Why: "Seals and guide ring changed.", By: "R. Example"},
			{At: ago(212 * 24 * time.Hour), What: "mounted at rig one, position ram"},
		}}
	rated := form("rated", page.PostItemRated, append(page.RatedFields("psi"), page.Field{Name: "item", Kind: "hidden"}), "Record the pressure")
	u.AtRig = &page.RigFacts{Rig: "rig one", Most: page.Pressure{Number: page.Show(120, "psi"), KPa: page.Show(827.4, "kPa")}, MarkedOn: "relief valve RV-3", Since: ago(200 * 24 * time.Hour), By: "R. Example", Rated: &rated,
		Absent: []page.AbsentPlace{{Position: "light gate", Reason: "No light gate on this rig; the speed is typed from the timer.", Since: ago(100 * 24 * time.Hour), By: "R. Example"}}}
	wrong, full := u, u
	badRated, atRig := rated, *u.AtRig
	badRated.Values, badRated.Errors = map[string]string{"most": "x", "marked_on": "plate"}, map[string]string{"most": "“x” is not a number."}
	atRig.Rated, atRig.Most, atRig.Absent = &badRated, page.Pressure{}, nil
	wrong.AtRig = &atRig
	wrong.CorrectionForm.Values = map[string]string{"item": "r1", "strokes": "x", "reason": "y"}
	wrong.CorrectionForm.Errors = map[string]string{"strokes": "“x” is not a whole number. Write it in digits, as 1000."}
	for i := range 200 {
		e := u.Events[i%3]
		e.Why += strings.Repeat(" And so on", i%9)
		full.Events = append(full.Events, e)
	}
	empty := page.ItemUse{Frame: serverFrame("hose, H-3", page.PathEquipment), Item: "hose, H-3", Kind: "hose", Lab: "Hillside lab", State: page.Status{Level: page.OK, Word: "in service"}, Service: page.Status{Word: "no interval set"},
		Strokes: "0", SinceService: "0", Shots: "0", DaysMounted: "0 days", Energy: page.Missing("no stroke has an energy"), Hardest: page.Missing("no stroke has a peak")}
	return []Item{{"item-use", u}, {"item-use-empty", empty}, {"item-use-error", wrong}, {"item-use-full", full}}
}

func usages() []Item {
	row := func(name string, n int64, share float64, hours float64) page.UsageRow {
		return page.UsageRow{Name: name, Strokes: page.ShowCount(n), StrokeShare: page.Show(share, "%"), Hours: page.Show(hours, "h"), HourShare: page.Show(share, "%"), SharePercent: int(share), Booked: page.Show(hours*1.5, "h")}
	}
	u := page.UsageReport{Booked: page.Show(318.75, "h"), Frame: serverFrame("Who used the rigs", page.PathHealth), Labs: labChoices(), By: "owner", From: "2031-01", To: "2031-03", Strokes: page.ShowCount(4410), Hours: page.Show(212.5, "h"), CSV: "/usage.csv?by=owner",
		Rows: []page.UsageRow{row("Department of small things", 2600, 59, 125), row("Project nine", 1500, 34, 72.5), row("no campaign", 310, 7, 15)}}
	empty, wrong, full := u, u, u
	empty.Rows = nil
	wrong.Rows, wrong.From, wrong.Bad = nil, "last month", "“last month” is not a month. Write it as 2031-03."
	full.Rows = nil
	for i := range 150 {
		full.Rows = append(full.Rows, row(fmt.Sprintf("Department %d with a name so long that it needs a line or two of its own", i), int64(i), float64(i)/10, float64(i)))
	}
	return []Item{{"usage", u}, {"usage-empty", empty}, {"usage-error", wrong}, {"usage-full", full}}
}

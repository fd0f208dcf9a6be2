package pagetest

import (
	"fmt"
	"time"

	"thudbook/web/page"
)

func stepOf(specimen string) *page.Step {
	return &page.Step{Specimen: specimen, Location: "oblique front", Condition: "cold", Hit: "hit 2 of 3", Target: page.Show(5.5, "m/s"), Tolerance: page.Show(0.1, "m/s"),
		Pressure: page.Pressure{Number: page.Show(20.5, "psi"), KPa: page.Show(141.3, "kPa")}, Low: page.Pressure{Number: page.Show(19.4, "psi")}, High: page.Pressure{Number: page.Show(21.7, "psi")},
		Chance: page.ShowWhole(87, "%"), Basis: "From 43 shots since the last service.", Most: "145.0\u00a0psi", Observed: "Observed on this ram: 13.1 to 27.6 psi. Nothing is proposed beyond.",
		Out: page.Since{At: ago(194 * time.Second)}, Rest: page.Since{At: ago(11 * time.Minute)},
		OutForm: page.Form{Action: page.PostTakenOut, Submit: "It is back in", Hidden: map[string]string{"specimen": specimen, "back": "yes"}}}
}

func orderRows(n int) []page.OrderRow {
	out := make([]page.OrderRow, n)
	for i := range out {
		hidden := map[string]string{"specimen": fmt.Sprintf("FG-A-%03d", 12+i/6), "location": "front", "target_speed_m_s": "5.5", "hit": "1"}
		out[i] = page.OrderRow{Specimen: hidden["specimen"], Location: []string{"front", "side", "oblique front"}[i%3], Condition: "cold", Target: page.Show(5.5, "m/s"), Hit: "hit 1 of 2",
			State: page.Status{Word: "to fire"}, Hidden: hidden, Above: hidden}
	}
	out[0].State, out[0].First, out[0].Above = page.Status{Level: page.OK, Word: "next"}, true, nil
	if n > 2 {
		out[1].State, out[1].Skipped = page.Status{Word: "skipped: shell cracked at delivery"}, true
		out[2].State = page.Status{Level: page.Warn, Word: "failed its inspection: weld parted"}
	}
	return out
}

func nexts() []Item {
	unit := page.Form{ID: "unit", Action: page.PostUnit, Submit: "Use it", Values: map[string]string{"pressure": "psi"},
		Fields: []page.Field{{Name: "pressure", Label: "Pressures are typed and shown in", Kind: "select", Options: []page.Choice{{Value: "kPa", Text: "kPa"}, {Value: "psi", Text: "psi"}, {Value: "bar", Text: "bar"}}}}}
	free := page.Form{ID: "free", Action: page.PostConfirm, Key: "k2", Fields: page.FreeFields("psi"), Submit: "Confirmed: wait for its file", Values: map[string]string{"kind": "shot", "pressure": "20.5"}}
	confirm := page.Form{ID: "confirm", Action: page.PostConfirm, Key: "k1", Fields: page.ConfirmFields("psi"), Submit: "Confirmed: wait for its file", Values: map[string]string{"pressure": "20.5"}, Hidden: map[string]string{"specimen": "FG-A-013"}, Fold: "Speed, temperature, humidity"}
	f := agentFrame("Next shot", page.PathNext, page.AgentCounts{ToAssign: 1})
	one := []page.Choice{{Value: "c1", Text: "Face guards, spring series"}}
	normal := page.Next{Frame: f, Campaign: "c1", Campaigns: one, Step: stepOf("FG-A-013"), Left: 14, Done: 43, Confirm: confirm, Free: free, Unit: unit, Order: orderRows(6)}
	normal.FreeOut = page.Form{ID: "out", Action: page.PostTakenOut, Submit: "Out of the chamber now", Fields: page.TakenOutFields()}
	for i, name := range []string{"FG-A-012", longName} {
		normal.FreeTimers = append(normal.FreeTimers, page.FreeTimer{Specimen: name, Rest: page.Since{At: ago(time.Duration(7+i) * time.Minute)}, Tap: page.Form{Action: page.PostTakenOut, Submit: "Out of the chamber now", Hidden: map[string]string{"specimen": name}}})
	}
	normal.FreeTimers[1].Out = page.Since{At: ago(90 * time.Second)}
	normal.FreeTimers[1].Tap.Submit = "It is back in"
	empty := page.Next{Frame: f, Why: "There is no campaign on this computer. A manager makes one on the server; a free shot can be fired at any time.", Free: free, Unit: unit}
	before := normal
	before.Campaigns = append(one, page.Choice{Value: "c2", Text: longName})
	before.Step = stepOf("FG-A-014")
	before.Step.Before, before.Step.Basis = true, "From 43 shots before the last service, with their scatter doubled, until 6 shots at two pressures are in since."
	before.Guided = []page.GuidedRow{{Pressure: before.Step.Low, Missing: 3, Form: page.Form{Action: page.PostConfirm, Submit: "Set: wait for its file"}}, {Pressure: before.Step.High}}
	before.Step.Out.Limit = page.TimeLimit{State: page.Status{Level: page.OK, Word: "1 min 46 s left of 5 min"}, Until: Now().Add(106 * time.Second), Before: "{} left of 5 min", After: "the 5 min are exceeded", AfterLevel: page.Bad}
	before.Step.Rest.Limit = page.TimeLimit{State: page.Status{Level: page.Warn, Word: "wait 4 min more, of 15 min"}, Until: Now().Add(4 * time.Minute), Before: "wait {} more, of 15 min", After: "the 15 min of rest are over", AfterLevel: page.OK}
	normal.Step.Out.Limit = page.TimeLimit{State: page.Status{Level: page.Bad, Word: "the 3 min are exceeded"}}
	bad := normal
	bad.Step = stepOf(longName)
	bad.Step.NoProp, bad.Step.Out, bad.Step.Rest = "the pressure for this speed, 21.9 psi, is outside the observed pressures, 13.1 to 20.3 psi. Choose a target inside the observed range.", page.Since{}, page.Since{}
	bad.Step.Basis, bad.Step.Tolerance = "", page.Missing("not judged")
	bad.Confirm.Values = map[string]string{"pressure": "2o.5"}
	bad.Confirm.Errors = map[string]string{"pressure": "“2o.5” is not a number. Write it as 20.5."}
	full := before
	full.Order, full.More, full.Left, full.Skipped = orderRows(40), 18_760, 18_800, 12
	booked := normal
	booked.Notices = []page.Notice{{Level: page.Warn, Text: "Booked now, until 17:00, by Helmets (ext. 12). It clashes with the booking of Endurance.", Fix: "You can go on; agree with them."},
		{Level: page.Plain, Text: "Booked from 18:00 to 20:30 by Student project.", Fix: "You can go on; agree with them.", Link: "Bookings of this week", Href: page.PathCalendar}}
	skipped := normal
	skipped.Order = orderRows(6)
	skipped.Order[2].Reason, skipped.Order[2].Bad = "", "Say why it is skipped."
	return []Item{{"next-order-error", skipped}, {"next-booked", booked}, {"next", normal}, {"next-empty", empty}, {"next-before-service", before}, {"next-error", bad}, {"next-full", full}}
}

func outcomes() []Item {
	f := agentFrame("Result", page.PathResult, page.AgentCounts{})
	end := page.Form{ID: "end", Action: page.PostEnd, Fields: page.EndFields(), Values: map[string]string{"reason": "not fired"}, Submit: "It was not fired"}
	noFile := page.Form{ID: "nofile", Action: page.PostEnd, Fields: page.NoFileFields(), Submit: "Count the stroke",
		Values: map[string]string{"specimen": "FG-A-013", "location": "oblique front", "condition": "ambient"}}
	wait := &page.Wait{What: "FG-A-013, oblique front, 20.5 psi", Confirm: page.Since{At: ago(21 * time.Second)}, End: end, NoFile: noFile,
		Folders: []page.WaitFolder{{Dir: `D:\acquisition\out`, Rule: "after 1.5 s without a change (rule quiet)", Files: []string{"shot_0013.csv: still being written"}}}}
	shot := page.Shot{ID: "019571b2-7c3d-7a10-9d3e-000000000012", At: ago(14 * time.Second), Kind: "shot", Headline: []page.Result{results()[0], results()[2], results()[3], results()[4], results()[7]},
		Limits: limitRows(), Traces: Traces(2000), Inspect: page.InspectPath("x"), AnotherMap: page.AnotherMapPath("x")}
	shot.Title = "FG-A-012, front"
	normal := page.Outcome{Frame: f, Shot: &shot, Speed: page.Status{Level: page.OK, Word: "5.47 m/s, within ±0.10 m/s"}, Target: page.Show(5.5, "m/s"),
		Accept: page.Form{ID: "primary", Action: page.PostAccept, Submit: "Accept, and next"}, Void: page.Form{ID: "void", Action: page.PostVoid, Fields: page.VoidFields(), Submit: "Make it void"}}
	bad := normal
	broken := shot
	broken.Flags, broken.Traces, broken.NoTraces = flags(), nil, "No channel of the file could be read."
	broken.Title, broken.State = longName, page.Status{Level: page.Warn, Word: "to assign"}
	broken.Errors = []page.FileError{{Code: "bad_number", What: "“12,3,4” is not a number.", Line: 4012, Column: 4, Channel: "az", Fix: "Check the cable and the export of this channel."}}
	broken.Inspect, bad.Assign = "", page.ShotAssignHref(shot.ID)
	bad.Shot, bad.Speed = &broken, page.Status{Level: page.Bad, Word: "5.24 m/s, 0.260 m/s too slow for ±0.10 m/s"}
	bad.Whole = &page.Whole{Parts: []page.Reference{{Text: "shot_0012.csv, 2026-11-25 14:02:11, FG-A-012, front", Href: page.ShotPath(shot.ID)}},
		Form: page.Form{Action: page.PostWhole, Submit: "The same stroke: this whole file counts"}}
	bad.Void.Errors = map[string]string{"reason": "This is needed."}
	lost := normal
	without := shot
	without.Gap = &page.Gap{Missing: "channel az", Keep: page.Form{ID: "primary", Action: page.PostAccept, Submit: "Keep the shot"}, Void: page.Form{Action: page.PostVoid, Submit: "Void it, back in the order"}}
	lost.Shot, lost.Accept = &without, page.Form{}
	alarmed := *wait
	alarmed.Bad = []page.Notice{{Level: page.Bad, Text: "shot_0014.csv came, and nothing in it can be read: the file is empty", Fix: "Export it again. Its bytes are kept under Quarantine."}}
	alarmed.Folders = append(alarmed.Folders, page.WaitFolder{Dir: `\\measuring-pc\share`, Problem: "The watched folder is not there. Connect the network drive."})
	beside := page.Outcome{Frame: f, Wait: &alarmed, Shot: &broken, Speed: bad.Speed, Bind: &page.Form{Action: page.PostBind, Submit: "It is the confirmed shot"}}
	accepted := normal
	accepted.Accept, accepted.Accepted, accepted.Void = page.Form{}, page.Status{Level: page.OK, Word: "Accepted by Wilma Quill at 2031-03-14 15:09:12"}, page.Form{}
	accepted.Back = "It does not count; where it was planned, the hit is in the run order again."
	another := normal
	another.Another = &page.Another{File: longName + ".csv", At: ago(3 * time.Second), Href: page.ShotPath(shot.ID)}
	another.Undecided = []page.Undecided{{What: "FG-A-011, front", At: ago(9 * time.Minute), Href: page.ShotPath(shot.ID)}, {What: longName + ".csv", At: ago(time.Hour), Href: page.ShotPath(shot.ID)}}
	another.MoreUndecided = 31
	return []Item{{"result", normal}, {"result-another", another}, {"result-wait", page.Outcome{Frame: f, Wait: wait}}, {"result-wait-error", beside}, {"result-error", bad}, {"result-gap", lost}, {"result-accepted", accepted}, {"result-empty", page.Outcome{Frame: f}}}
}

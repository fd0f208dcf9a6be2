// Package pagetest shows every screen with invented data: empty, normal, with
// errors, and very full. Tests render them, a browser checks and photographs
// them. No person, lab or product in it exists.
package pagetest

import (
	"fmt"
	"strings"
	"time"

	"thudbook/web/page"
)

// Item is one screen in one state.
type Item struct {
	Name string // as "agent-overview-empty"; unique, fit for a file name
	Page page.Page
}

// Now is the moment at which all pages of the gallery are made.
func Now() time.Time {
	return time.Date(2031, 3, 14, 15, 9, 26, 0, time.FixedZone("", 3600))
}

func ago(d time.Duration) time.Time { return Now().Add(-d) }

const longName = "Specimen with a name so long that nobody would ever have typed it by hand, lot 2031-03/β, re-labelled twice"

func agentFrame(title, current string, n page.AgentCounts) page.Frame {
	return page.Frame{Title: title, Place: "Northmere lab, rig one", Version: "0.1.0", Now: Now(), Nav: page.AgentNav(current, n), AtRig: true}
}

func serverFrame(title, current string) page.Frame {
	return page.Frame{Title: title, Version: "0.1.0", Now: Now(), Nav: page.ServerNav(current, true, 2),
		User: &page.User{Name: "r.example", Roles: "manager in Northmere lab, administrator"}}
}

// Gallery returns every screen in its states.
func Gallery() []Item {
	var all []Item
	for _, part := range [][]Item{
		nexts(), outcomes(), rams(), agentOverviews(), shotLists(), shots(), anotherMaps(), agentRest(), rigs(), setups(), readies(), people(), devices(),
		checks(), days(), serverFirst(), equipment(), care(), campaigns(), calendars(), agents(), pool(), alarms(), administration(), problems(), inspections(),
	} {
		all = append(all, part...)
	}
	return all
}

func flags() []page.Flag {
	return []page.Flag{
		{Code: "saturated", Channel: "ax", Text: "3 samples at full scale, 500 g: the true peak may be higher", Level: page.Bad},
		{Code: "uncertainty_unknown", Text: "no uncertainty was given for the channels of this result", Level: page.Warn},
	}
}

func row(i int) page.ShotRow {
	speed := 5.43 + 0.013*float64(i%11)
	r := page.ShotRow{
		ID: fmt.Sprintf("019571b2-7c3d-7a10-9d%02d-%012d", i%90, i), At: ago(time.Duration(i)*4*time.Minute + 41*time.Second), Kind: "shot",
		Specimen: fmt.Sprintf("FG-A-%03d", 12+i/3), Location: []string{"front", "side", "oblique front"}[i%3],
		Speed: page.ShowUncertain(speed, 0.03, "m/s"), Target: page.Show(5.5, "m/s"), PeakG: page.ShowUncertain(91.2+float64(i%13), 2.4, "g"),
		SI: page.Show(342+7*float64(i%13), "SI"), HIC15: page.Show(248+6*float64(i%13), "HIC"),
	}
	switch i % 9 {
	case 2:
		r.Flags = flags()
	case 4:
		r.Specimen, r.Location, r.Waiting, r.Target = "", "", true, page.Missing("to assign")
	case 6:
		r.HIC15, r.SI, r.PeakG = page.Missing("channel az could not be read"), page.Missing("channel az could not be read"), page.Missing("channel az could not be read")
		r.Flags = []page.Flag{{Code: "channel_unreadable", Channel: "az", Text: "text in a number column from line 4 012 on", Level: page.Bad}}
	case 8:
		r.Kind, r.Specimen, r.Location = "dry stroke", "", ""
	case 7:
		r.Arrival = true
	}
	return r
}

func rows(n int) []page.ShotRow {
	out := make([]page.ShotRow, n)
	for i := range out {
		out[i] = row(i)
	}
	return out
}

func syncGood() page.SyncState {
	return page.SyncState{State: page.Status{Level: page.OK, Word: "up to date"}, Server: "https://thudbook.example:8443", LastExchange: ago(22 * time.Second), NextTry: Now().Add(38 * time.Second)}
}

func syncStuck() page.SyncState {
	return page.SyncState{State: page.Status{Level: page.Warn, Word: "server not reachable"}, Server: "https://thudbook.example:8443",
		PendingRecords: 1284, PendingBytes: page.ShowBytes(913_400_000), OldestPending: ago(51 * time.Hour), LastExchange: ago(51 * time.Hour), NextTry: Now().Add(4 * time.Minute),
		Stuck: "No route to thudbook.example. Shots are kept here and go out by themselves when the network is back; nothing needs to be done at the rig."}
}

func disk() page.Disk {
	return page.Disk{State: page.Status{Level: page.OK, Word: "enough"}, Free: page.ShowBytes(182_000_000_000), Used: page.ShowBytes(1_310_000_000), Detail: "room for about 21 000 shots"}
}

func watching() page.WatchState {
	return page.WatchState{Folder: `D:\acquisition\out`, State: page.Status{Level: page.OK, Word: "watching"}}
}

func agentOverviews() []Item {
	normal, flagged, waiting := row(0), row(2), row(4)
	flagged.Specimen = longName
	full := page.AgentCounts{ToAssign: 112, Quarantine: 17, SeenAgain: 4}
	busy := agentFrame("Overview", page.PathOverview, full)
	busy.Notices = []page.Notice{
		{Level: page.Bad, Text: "Intake has stopped: the disk is nearly full.", Where: "D:, 412 MB free", Fix: "Free at least 2 GB. Files stay in the watched folder and are taken in then."},
		{Level: page.Warn, Text: "The clock of this machine is 2 h behind the server's.", Fix: "Set the clock. Shots are taken in all the same, and marked."},
	}
	live := agentFrame("Overview", page.PathOverview, page.AgentCounts{})
	live.Refresh = 5
	return []Item{
		{"agent-overview", page.AgentOverview{Frame: live, Last: &normal, Rows: rows(12), Watch: watching(), Sync: syncGood(), Disk: disk(), ShotsKept: page.ShowCount(1204)}},
		{"agent-overview-empty", page.AgentOverview{Frame: agentFrame("Overview", page.PathOverview, page.AgentCounts{}), Watch: watching(), Disk: disk(), ShotsKept: "0",
			Sync: page.SyncState{State: page.Status{Level: page.Plain, Word: "no server set"}}}},
		{"agent-overview-error", page.AgentOverview{Frame: busy, Last: &flagged, Rows: rows(9), ToAssign: 112, Quarantine: 17, SeenAgain: 4, ShotsKept: page.ShowCount(98_412),
			Watch: page.WatchState{Folder: `\\measuring-pc\share\out`, State: page.Status{Level: page.Bad, Word: "folder not reachable"}, Detail: "The share did not answer for 3 min. Check that the measuring PC is on and the cable is in; files written meanwhile are found when it is back."},
			Sync:  syncStuck(), Disk: page.Disk{State: page.Status{Level: page.Bad, Word: "intake stopped"}, Free: page.ShowBytes(412_000_000), Used: page.ShowBytes(96_000_000_000)}}},
		{"agent-overview-waiting", page.AgentOverview{Frame: agentFrame("Overview", page.PathOverview, page.AgentCounts{ToAssign: 1}), Last: &waiting, ToAssign: 1, Rows: rows(5), Watch: watching(), Sync: syncGood(), Disk: disk(), ShotsKept: "5"}},
	}
}

func shotLists() []Item {
	labs := []page.Choice{{Value: "l1", Text: "Northmere lab"}, {Value: "l2", Text: "Harbour lab"}, {Value: "l3", Text: "Hillside lab"}}
	normal := rows(25)
	for i := range normal {
		normal[i].Lab, normal[i].Campaign = labs[i%3].Text, "Face guards, spring series"
	}
	f := serverFrame("Shots", page.PathShots)
	filter := page.ShotFilter{Labs: labs, Campaigns: []page.Choice{{Value: "c1", Text: "Face guards, spring series"}}}
	fewer := filter
	fewer.Lab, fewer.Specimen = "l2", "FG-Z"
	return []Item{
		{"shots", page.Shots{Frame: f, Filter: filter, Rows: normal, Total: "1 000 000 shots", From: 101, To: 125, Newer: "/shots?before=x", Older: "/shots?after=y", CSV: "/shots.csv"}},
		{"shots-empty", page.Shots{Frame: agentFrame("Shots", page.PathShots, page.AgentCounts{}), Total: "no shots"}},
		{"shots-nothing-fits", page.Shots{Frame: f, Filter: fewer, Total: "no shots"}},
	}
}

func results() []page.Result {
	ms := func(v float64) page.Number { return page.Show(v, "ms") }
	return []page.Result{
		{Key: "impact_speed", Value: page.ShowUncertain(5.541, 0.011, "m/s"), Note: "light gate, flag 25 mm"},
		{Key: "ram_energy", Value: page.ShowUncertain(224.4, 2.5, "J"), Note: "moving mass 15.0 kg"},
		{Key: "peak_linear_acceleration", Value: page.ShowUncertain(98.1, 2.4, "g"), At: ms(6.1)},
		{Key: "severity_index", Value: page.Show(371, "SI"), At: ms(1.2), To: ms(17.9)},
		{Key: "hic15", Value: page.Show(262, "HIC"), At: ms(2.4), To: ms(12.1)},
		{Key: "hic36", Value: page.Show(262, "HIC"), At: ms(2.4), To: ms(12.1)},
		{Key: "clip_3ms", Value: page.Show(88.4, "g"), At: ms(4.7), To: ms(7.7)},
		{Key: "peak_angular_velocity", Value: page.Show(31.2, "rad/s"), At: ms(14.8)},
		{Key: "peak_angular_acceleration", Value: page.Show(4180, "rad/s2"), At: ms(5.2), Note: "five-point stencil"},
		{Key: "gambit", Value: page.Show(0.44, "1"), Note: "of peaks, exponent 2.5, 250 g, 25 000 rad/s²"},
		{Key: "damage", Value: page.Missing("channel wz is dead")},
		{Key: "ric36", Value: page.Show(17.12, "×10⁶"), At: ms(2.1), To: ms(9.4), Note: "Kimpara and Iwamoto 2012, not confirmed against print"},
		{Key: "rise_rate", Value: page.Show(21.7, "g/ms"), At: ms(1.6), To: ms(5.3), Note: "common practice"},
	}
}

func published() []page.Published {
	return []page.Published{
		{Name: "Fit to concussion data, linear and angular acceleration", Authors: "Rowson and Duma", Year: 2013, Of: "Peak linear acceleration 98.1 g, Peak angular acceleration 4180 rad/s²", Value: page.Show(6.4, "%"),
			Sentence: "A published function of Rowson and Duma, 2013, of peak linear acceleration and peak angular acceleration; its constants are not confirmed against print. It was fitted to blows to football players, not to a ram and a head form; it is no medical statement, no prediction for a person, and no pass mark."},
		{Name: "Points from mild brain injury data, angular acceleration", Authors: "Zhang, Yang and King", Year: 2004, Of: "Peak angular acceleration 4180 rad/s²", Value: page.Number{Text: "at most 25.0", Unit: "%"},
			Sentence: "A published function of Zhang, Yang and King, 2004, of peak angular acceleration; its constants are not confirmed against print. It rests on a few reconstructed collisions in one sport; it is no medical statement, no prediction for a person, and no pass mark."},
	}
}

func limitRows() []page.LimitRow {
	return []page.LimitRow{
		{Name: "Severity index", Campaign: "Face guards, spring series", Most: page.Show(1200, "SI"), Value: page.Show(371, "SI"), Margin: page.Show(829, "SI"),
			State: page.Status{Level: page.OK, Word: "within the limit"}, Source: "set by the campaign; limit not confirmed against print"},
		{Name: "Peak linear acceleration", Campaign: "Face guards, spring series", Most: page.Show(97, "g"), Value: page.ShowUncertain(98.1, 2.4, "g"), Margin: page.Show(-1.1, "g"),
			State: page.Status{Level: page.Warn, Word: "above the limit, by less than the uncertainty"}, Source: "set by the campaign"},
		{Name: "DAMAGE", Campaign: longName, Most: page.Show(0.3, ""), Value: page.Missing("not in the file"), Margin: page.Missing("not compared"),
			State: page.Status{Level: page.Warn, Word: "not compared: the shot has no such result"}, Source: "set by the campaign"},
	}
}

func assignForm(id string) page.Form {
	return page.Form{ID: "a" + id, Action: page.AssignPath(id), Key: "7f3a" + id, Fields: page.AssignFields("psi"), Submit: "Assign", Fold: page.MeasuredFold,
		Values: map[string]string{"kind": "shot", "condition": "ambient"},
		Choices: map[string][]page.Choice{"specimen": {{Value: "FG-A-012", Text: "face guard A, lot 7"}, {Value: "FG-A-013", Text: "face guard A, lot 7"}},
			"location": {{Value: "front", Text: ""}, {Value: "side", Text: ""}}, "condition": {{Value: "ambient", Text: ""}, {Value: "cold", Text: ""}}}}
}

func shots() []Item {
	f := agentFrame("Shot on FG-A-012, front", page.PathShots, page.AgentCounts{ToAssign: 1})
	normal := page.Shot{
		Frame: f, ID: "019571b2-7c3d-7a10-9d3e-000000000012", At: ago(4 * time.Minute), AtFrom: "from the file's time", TakenIn: ago(239 * time.Second),
		Lab: "Northmere lab", Rig: "rig one", Kind: "shot", Mounted: []page.ShotMounted{{Position: "ax", Item: "accelerometer X, AC-0441", Href: "/equipment/use/s1", Calibration: page.Status{Level: page.OK, Word: "in calibration"}, Certificate: "K-2031-014"},
			{Position: "ram", Item: "ram two, R-1002", Href: "/equipment/use/s2"}, {Position: "wx", Item: "rate sensor X, RS-0107", Calibration: page.Status{Level: page.Bad, Word: "overdue by 12 days"}, Certificate: "K-2030-101", Rests: "K-2029-088", State: page.Status{Level: page.Bad, Word: "quarantined, and mounted"}}}, State: page.Status{Level: page.OK, Word: "assigned"},
		Received: page.Status{Level: page.OK, Word: "kept by the server too"},
		Headline: []page.Result{results()[0], results()[2], results()[3], results()[4]}, Results: results(), Published: published(), Limits: limitRows(),
		Meta: []page.MetaRow{
			{Label: "Specimen", Value: page.Number{Text: "FG-A-012"}}, {Label: "Impact location", Value: page.Number{Text: "front"}},
			{Label: "Condition", Value: page.Number{Text: "ambient"}, Manual: true}, {Label: "Target speed", Value: page.Show(5.5, "m/s"), Manual: true},
			{Label: "Tank pressure, gauge", Value: page.Show(20.5, "psi"), KPa: page.Show(141.3, "kPa")}, {Label: "Operator", Value: page.Number{Text: "Wilma Quill"}},
		},
		Source:     page.SourceFile{Name: "shot_0012.csv", SHA256: strings.Repeat("3f9c", 16), Size: page.ShowBytes(1_040_000), Href: page.SourcePath("019571b2-7c3d-7a10-9d3e-000000000012")},
		Map:        page.MapUsed{Name: "rig one, seven channels", SHA256: strings.Repeat("ab12", 16), Text: "name = \"rig one, seven channels\"\n[time]\ncolumn = \"t\"\nunit = \"s\"\n"},
		AnotherMap: page.AnotherMapPath("x"),
		Engine:     "thudbook metrics 0.1.0", Origin: "node 4c1f…, Northmere lab, epoch 1", Seq: "1 204",
		Traces: Traces(10_000), Previous: "/shots/1", Next: "/shots/3",
	}
	normal.Shock = shockOf(false, "")
	normal.Overlays = []page.Overlay{{ID: "o1", Text: "FG-A-013, 2031-03-14 14:51:00, 5.49\u00a0m/s, 96.2\u00a0g"}, {ID: "o2", Text: "FG-A-014, 2031-03-14 14:02:00, 5.51\u00a0m/s, 99.0\u00a0g"}}
	normal.Specimen, normal.Inspect, normal.Inspected = page.SpecimenPath("FG-A-012"), page.InspectPath(normal.ID), inspectionRows(2)
	normal.Photos, normal.AddPhotos = photos(4), &page.PhotoForm{Action: page.ShotPhotosPath(normal.ID), Most: 64e6, Of: "the shot"}
	correctable(&normal)
	bad := normal
	bad.Correct = nil
	bad.Shock = shockOf(true, "Natural frequencies up to 30000 Hz; the record of 20000 samples a second reaches 10000 Hz at most.")
	bad.Frame.Title = "Shot, not assigned yet"
	bad.State = page.Status{Level: page.Warn, Word: "to assign"}
	bad.Received = page.Status{Level: page.Warn, Word: "waits to be sent"}
	bad.Flags = append(flags(), page.Flag{Code: "map_guessed", Text: "the channel map was guessed from the column heads", Level: page.Warn})
	bad.Errors = []page.FileError{{Code: "bad_number", What: "“12,3,4” is not a number.", Line: 4012, Column: 4, Channel: "az", Fix: "Check the cable and the export of this channel; correct the file's copy and take it in again if the value is known."}}
	bad.Map.Guessed = true
	form := assignForm("x")
	form.Values["specimen"], form.Values["target_speed_m_s"] = longName, "5,5o"
	form.Errors = map[string]string{"target_speed_m_s": "“5,5o” is not a number. Write it as 5.5."}
	bad.Assign = &form
	bad.Traces = Broken()
	none := page.Shot{Frame: agentFrame("Shot without traces", page.PathShots, page.AgentCounts{}), ID: "x", NoTraces: "No channel of the file could be read.",
		State: page.Status{Level: page.Bad, Word: "nothing scored"}, Source: page.SourceFile{Name: "old.csv", Absent: "still on the rig PC"}}
	many := normal
	many.Frame = serverFrame("Shot on "+longName, page.PathShots)
	many.Traces = Many()
	many.Shock = shockOf(true, "")
	many.Correct, many.Void, many.Unsettled = nil, nil, nil
	many.Stated = &page.Stated{By: "a typed speed of 50.2 m/s", Now: "a typed speed of 5.02 m/s", Again: &page.Form{Action: page.StatedPath("x"), Submit: "Compute it again"}}
	return []Item{{"shot", normal}, {"shot-error", bad}, {"shot-empty", none}, {"shot-full", many}}
}

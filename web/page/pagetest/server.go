package pagetest

import (
	"fmt"
	"time"

	"thudbook/web/page"
)

func labChoices() []page.Choice {
	return []page.Choice{{Value: "l1", Text: "Northmere lab"}, {Value: "l2", Text: "Harbour lab"}, {Value: "l3", Text: "Hillside lab"}}
}

func serverFirst() []Item {
	signIn := page.Form{Action: page.PostSignIn, Fields: page.SignInFields(), Submit: "Sign in", Hidden: map[string]string{"next": "/equipment"}}
	wrong := signIn
	wrong.Values = map[string]string{"name": "r.example"}
	wrong.Errors = map[string]string{"password": "Name and password do not belong together."}
	bare := page.Frame{Title: "Sign in", Version: "0.1.0", Now: Now()}
	labs := []page.LabRow{
		{ID: "l1", Name: "Northmere lab", Shots: page.ShowCount(1204), LastShot: ago(4 * time.Minute), Campaigns: "2", ToAssign: 3, Agents: 1, Overdue: 1, DueSoon: 1},
		{ID: "l2", Name: "Harbour lab", Shots: page.ShowCount(318), LastShot: ago(51 * time.Hour), Campaigns: "1", Agents: 1},
		{ID: "l3", Name: "Hillside lab", Shots: "0", Campaigns: "0", Agents: 1, DueSoon: 2},
	}
	due := []page.DueRow{
		{Lab: "Northmere lab", Item: "accelerometer Y, AC-0442", Kind: "sensor", What: "calibration", State: page.Status{Level: page.Bad, Word: "overdue by 12 days"}, Href: "/equipment#item-s2"},
		{Lab: "Northmere lab", Item: "ram one, R-1001", Kind: "ram", What: "service", State: page.Status{Level: page.Warn, Word: "due in 38 strokes"}, Href: "/equipment#item-r1"},
		{Lab: "Hillside lab", Item: "rate sensor X, RS-0107", Kind: "sensor", What: "calibration", State: page.Status{Level: page.Warn, Word: "due in 9 days"}},
	}
	fullLabs, fullAgents := []page.LabRow{}, []page.AgentRow{}
	for i := range 40 {
		l := labs[i%3]
		l.Name = fmt.Sprintf("Lab number %d, an unusually long name for a lab in a list", i+1)
		fullLabs = append(fullLabs, l)
		fullAgents = append(fullAgents, agentRows()[i%4])
	}
	return []Item{
		{"sign-in", page.SignIn{Frame: bare, Form: signIn}},
		{"sign-in-error", page.SignIn{Frame: bare, Form: wrong}},
		{"server-overview", page.ServerOverview{Frame: serverFrame("Overview", page.PathHome), Labs: labs, Overdue: due, Agents: agentRows()}},
		{"server-overview-empty", page.ServerOverview{Frame: serverFrame("Overview", page.PathHome)}},
		{"server-overview-full", page.ServerOverview{Frame: serverFrame("Overview", page.PathHome), Labs: fullLabs, Overdue: due, Agents: fullAgents}},
	}
}

func equipment() []Item {
	items := map[string][]page.Choice{"lab": labChoices(), "item": {{Value: "r1", Text: "ram one, R-1001"}, {Value: "s1", Text: "accelerometer X, AC-0441"}}, "rig": {{Value: "rig one"}}}
	forms := func(f []page.Field, action, id, submit string) page.Form {
		return page.Form{ID: id, Action: action, Fields: f, Choices: items, Submit: submit, Key: id + "-key"}
	}
	e := page.Equipment{Frame: serverFrame("Equipment", page.PathEquipment), Labs: labChoices(), MayEdit: true,
		Item: forms(page.ItemFields(), page.PostItem, "item", "Add"), Service: forms(page.ServiceFields(), page.PostService, "service", "Record the service"),
		Calibration: forms(page.CalibrationFields(), page.PostCalibration, "cal", "Record the calibration"), Mounting: forms(page.MountingFields(), page.PostMounting, "mount", "Record the mounting")}
	empty := e
	e.Frame.Notices = []page.Notice{{Level: page.OK, Text: "The service of ram one was recorded. Strokes are counted from it."}}
	e.Rams = []page.RamRow{
		{Held: page.Held{Is: page.Status{Level: page.OK, Word: "in service"}}, ID: "r1", Lab: "Northmere lab", Name: "ram one", Serial: "R-1001", Rig: "rig one", SinceService: 962, Interval: 1000, Total: 14_230, State: page.Status{Level: page.Warn, Word: "due in 38 strokes"}, LastService: ago(70 * 24 * time.Hour)},
		{Held: page.Held{Is: page.Status{Level: page.OK, Word: "in service"}}, ID: "r2", Lab: "Harbour lab", Name: "ram two", Serial: "R-1002", SinceService: 1312, Interval: 1000, Total: 2312, State: page.Status{Level: page.Bad, Word: "overdue by 312 strokes"}},
		{Held: page.Held{Is: page.Status{Level: page.OK, Word: "in service"}}, ID: "r3", Lab: "Hillside lab", Name: "ram three", Serial: "R-1003", SinceService: 12, Total: 12, State: page.Status{Level: page.Plain, Word: "no interval set"}},
		{Held: page.Held{Is: page.Status{Level: page.OK, Word: "in service"}}, ID: "r4", Lab: "Hillside lab", Name: "ram four", Serial: "R-1004", SinceService: 120, Interval: 1000, Total: 120, State: page.Status{Level: page.OK, Word: "due in 880 strokes"}},
	}
	e.Sensors = []page.SensorRow{
		{Held: page.Held{Is: page.Status{Level: page.OK, Word: "in service"}}, ID: "s1", Lab: "Northmere lab", Name: "accelerometer X", Serial: "AC-0441", Kind: "sensor", Rig: "rig one", Position: "centre of gravity, x", Calibrated: ago(100 * 24 * time.Hour), Due: Now().Add(265 * 24 * time.Hour), Certificate: "K-2031-118", State: page.Status{Level: page.OK, Word: "in calibration"}},
		{Held: page.Held{Is: page.Status{Level: page.OK, Word: "in service"}}, ID: "s2", Lab: "Northmere lab", Name: "accelerometer Y", Serial: "AC-0442", Kind: "sensor", Rig: "rig one", Position: "centre of gravity, y", Calibrated: ago(377 * 24 * time.Hour), Due: ago(12 * 24 * time.Hour), Certificate: "K-2030-093", State: page.Status{Level: page.Bad, Word: "overdue by 12 days"}},
		{Held: page.Held{Is: page.Status{Level: page.OK, Word: "in service"}}, ID: "s3", Lab: "Hillside lab", Name: "rate sensor X", Serial: "RS-0107", Kind: "sensor", Due: Now().Add(9 * 24 * time.Hour), Calibrated: ago(356 * 24 * time.Hour), State: page.Status{Level: page.Warn, Word: "due in 9 days"}},
		{Held: page.Held{Is: page.Status{Level: page.Plain, Word: "at calibration"}, Kept: "with the calibration laboratory"}, ID: "s4", Lab: "Hillside lab", Name: "light gate", Serial: "LG-3", Kind: "light gate", State: page.Status{Level: page.Plain, Word: "no calibration recorded"}},
	}
	e.Others = []page.ItemRow{{Held: page.Held{Is: page.Status{Level: page.OK, Word: "in service"}}, ID: "h1", Lab: "Northmere lab", Kind: "head form", Name: "head form, medium", Serial: "HF-07", Rig: "rig one", Strokes: page.ShowCount(14_230), State: page.Status{Level: page.OK, Word: "in use"}}}
	wrong := e
	wrong.Service.Values = map[string]string{"item": "r1", "effective_at": "2031-03-15T09:00:00", "note": "seals changed"}
	wrong.Service.Errors = map[string]string{"effective_at": "This lies in the future. Give the time at which it was done."}
	full := e
	for i := range 120 {
		s := e.Sensors[i%4]
		s.ID, s.Serial = fmt.Sprintf("f%d", i), fmt.Sprintf("AC-%05d", i)
		full.Sensors = append(full.Sensors, s)
	}
	return []Item{{"equipment", e}, {"equipment-empty", empty}, {"equipment-error", wrong}, {"equipment-full", full}}
}

func campaigns() []Item {
	form := page.Form{Action: page.PostCampaign, Fields: page.CampaignFields(), Choices: map[string][]page.Choice{"lab": labChoices()}, Submit: "Create"}
	wrong := form
	wrong.Values = map[string]string{"name": "", "target_speeds_m_s": "5.5; x"}
	wrong.Errors = map[string]string{"name": "Give it a name.", "target_speeds_m_s": "“5.5; x” is not a list of numbers. Write it as 5.5, 7.4."}
	rowsOf := []page.CampaignRow{
		{ID: "c1", Name: "Face guards, spring series", Lab: "Northmere lab", Done: 126, Planned: 240, Rejected: 7, LastShot: ago(4 * time.Minute), State: page.Status{Level: page.Plain, Word: "under way"}},
		{ID: "c2", Name: "Padding, first look", Lab: "Harbour lab", Done: 40, Planned: 40, LastShot: ago(40 * 24 * time.Hour), State: page.Status{Level: page.OK, Word: "complete"}},
		{ID: "c3", Name: "Not begun", Lab: "Hillside lab", Planned: 12, State: page.Status{Level: page.Plain, Word: "not begun"}},
	}
	one := page.Campaign{Frame: serverFrame("Face guards, spring series", page.PathCampaigns), ID: "c1", Name: "Face guards, spring series", Lab: "Northmere lab", Tolerance: "± 0.10 m/s", Conditions: "ambient",
		Done: 126, Planned: 240, Rejected: 7, Speeds: []string{"3.50 m/s", "5.50 m/s", "7.40 m/s"}, Outside: []page.OutsideRow{
			{Specimen: "FG-A-012", Location: "front", Condition: "cold", Target: "5.50 m/s", Shots: 2, Why: "condition not in the plan", Href: "/shots?specimen=FG-A-012"},
			{Specimen: longName, Location: "crown, left", Shots: 1, Why: "no target speed recorded", Href: "/shots?specimen=x"}}, ShotsHref: "/shots?campaign=c1", RecentShots: rows(5),
		Criteria: []page.Criterion{{Element: "bar", Text: "at worst “damaged”, at most 3.0\u00a0mm, own plan"}, {Element: "weld", Text: "at worst “sound”"}, {Element: "face form", Text: "a guard that touched it fails"}}}
	one.Notices = []page.Notice{{Level: page.Warn, Text: "This campaign was changed after 126 shots were recorded: its cells or the tolerance of the speed, the rest between hits. The last change is of 2026-05-12 10:31.", Fix: "What is counted and judged here follows the plan in force, for those shots too. Each shot that it judges otherwise says so, and by what it was judged before."}}
	one.Rig, one.Days, one.Unsettled = "Rig one", "2026-05-04 to 2026-05-15", "first day 2026-05-04 and 2026-05-11; last day 2026-05-15 and 2026-05-22"
	when := page.Form{ID: "when", Action: page.CampaignWhenPath("c1"), Fields: page.CampaignWhenFields(), Submit: "Set rig and days", Values: map[string]string{"starts_on": "2026-05-04", "ends_on": "2026-05-15"},
		Choices: map[string][]page.Choice{"rig": {{Value: "", Text: "not said"}, {Value: "r1", Text: "Rig one"}}}}
	one.When = &when
	one.SetLimits = &page.Form{ID: "limits", Action: page.CampaignLimitsPath("c1"), Fields: page.CampaignLimitsFields(), Submit: "Set the limits", Values: map[string]string{"acceptance_limits": "hic15; 700; own plan", "inspection_limits": "bar; damaged; 3; own plan", "least_rest_min": "2"}}
	full := one
	full.Speeds, full.Unsettled = nil, ""
	badWhen := when
	badWhen.Values, badWhen.Errors = map[string]string{"starts_on": "2026-05-15", "ends_on": "2026-05-04"}, map[string]string{"ends_on": "The last day is before the first. Exchange them."}
	wrongWhen := one
	badLimits := *one.SetLimits
	badLimits.Errors = map[string]string{"acceptance_limits": "“loudness” is no result. Write one of hic15, severity_index."}
	wrongWhen.SetLimits = &badLimits
	wrongWhen.When, wrongWhen.Unsettled = &badWhen, ""
	for i := range 9 {
		full.Speeds = append(full.Speeds, fmt.Sprintf("%d.50 m/s", 2+i))
	}
	fill := func(c *page.Campaign, types int) {
		for i := range types {
			for j, loc := range []string{"front", "side", "oblique front", "crown"} {
				r := page.CellRow{Specimen: fmt.Sprintf("FG-%c-012", 'A'+i%26), Location: loc, Condition: "ambient"}
				for k := range c.Speeds {
					cell := page.Cell{Done: (i*7 + j*3 + k*5) % 11, Planned: 10, Href: "/shots?campaign=c1&cell=x"}
					if (i+j+k)%5 == 0 {
						cell.Rejected = 2
					}
					if (i+j+k)%7 == 6 {
						cell = page.Cell{}
					}
					r.Cells = append(r.Cells, cell)
				}
				c.Rows = append(c.Rows, r)
			}
		}
	}
	fill(&one, 2)
	one.Rows[0].Cells[1].Skipped = 1
	one.Skipped = []page.SkippedHit{{Hit: "FG-A-012, front, ambient, 5.50\u00a0m/s, hit 2", Reason: "guard cracked", By: "Wilma Quill", At: ago(3 * time.Hour)}, {Hit: longName + ", front, ambient, 5.50\u00a0m/s, hit 2", Reason: longName, By: "Wilma Quill", At: ago(30 * time.Hour)}}
	fill(&full, 20)
	list := serverFrame("Campaigns", page.PathCampaigns)
	return []Item{
		{"campaigns", page.Campaigns{Frame: list, Rows: rowsOf, MayEdit: true, Form: form}},
		{"campaigns-empty", page.Campaigns{Frame: list, MayEdit: true, Form: form}},
		{"campaigns-error", page.Campaigns{Frame: list, Rows: rowsOf, MayEdit: true, Form: wrong}},
		{"campaign", one}, {"campaign-full", full}, {"campaign-error", wrongWhen},
		{"campaign-empty", page.Campaign{Frame: serverFrame("Not begun", page.PathCampaigns), Lab: "Hillside lab"}},
	}
}

func agentRows() []page.AgentRow {
	return []page.AgentRow{
		{Name: "rig one", Lab: "Northmere lab", State: page.Status{Level: page.OK, Word: "connected"}, LastSeen: ago(22 * time.Second), ClockOffset: "+0.4 s", ClockState: page.OK, Fingerprint: fingerprint, Version: "0.1.0"},
		{Name: "rig two", Lab: "Harbour lab", State: page.Status{Level: page.Warn, Word: "silent for 2 days"}, LastSeen: ago(51 * time.Hour), RecordsBehind: 1284, Silent: true, BytesBehind: page.ShowBytes(913_400_000), ClockOffset: "2 h slow", ClockState: page.Warn, Fingerprint: fingerprint},
		{Name: "rig three", Lab: "Hillside lab", State: page.Status{Level: page.Plain, Word: "enrolled, not heard of yet"}, Fingerprint: fingerprint},
		{Name: "coordination", Server: true, Lab: "Northmere lab", State: page.Status{Level: page.OK, Word: "connected"}, LastSeen: ago(9 * time.Second), ClockOffset: "0.0 s", ClockState: page.OK, Fingerprint: fingerprint, Version: "0.1.0"},
		{Name: "rig four", Lab: "Hillside lab", State: page.Status{Level: page.Bad, Word: "two histories found"}, LastSeen: ago(3 * time.Hour), Silent: true, ClockOffset: "61 years fast", ClockState: page.Bad, Fingerprint: fingerprint},
	}
}

func agents() []Item {
	f := serverFrame("Agents", page.PathAgents)
	revoke := page.Form{ID: "revoke", Action: page.PostRevoke, Fields: page.RevokeFields(), Submit: "Withdraw",
		Choices: map[string][]page.Choice{"agent": {{Value: "n1", Text: "rig two, Harbour lab"}}}}
	lost := page.Form{ID: "lost", Action: page.PostLostKey, Fields: page.LostKeyFields(), Submit: "Make a code for this agent", Choices: revoke.Choices}
	form := page.Form{Action: page.PostCode, Fields: page.CodeFields(), Choices: map[string][]page.Choice{"lab": labChoices()}, Submit: "Make a code"}
	return []Item{
		{"agents", page.Agents{Frame: f, Rows: agentRows(), MayEnrol: true, Form: form, Lost: lost, Revoke: revoke}},
		{"agents-code", page.Agents{Frame: f, Rows: agentRows(), MayEnrol: true, Form: form, NewCode: "K7QP-93TX-MB2D", CodeFor: "rig five, Hillside lab", CodeUntil: Now().Add(time.Hour)}},
		{"agents-key", page.Agents{Frame: f, Rows: agentRows(), MayEnrol: true, Form: form, Key: &page.ServerKey{Now: fingerprint, Next: fingerprint, Heard: []string{"rig one", "rig two"}, NotHeard: []string{"rig three"}, OpenCodes: 1,
			Form: page.Form{ID: "use", Action: page.PostUseKey, Fields: page.UseServerKeyFields(true), Submit: "Go on with the new key"}}}},
		{"agents-empty", page.Agents{Frame: f, MayEnrol: true, Form: form}},
		{"agents-no-lab", page.Agents{Frame: f, NoLab: true, MayLab: true}},
	}
}

func pool() []Item {
	f := serverFrame("Other servers", page.PathPool)
	form := page.Form{ID: "pool", Action: page.PostPool, Fields: page.PoolFields(), Submit: "Fetch this lab"}
	wrong := form
	wrong.Values = map[string]string{"server": "http://thudbook.hillside.example:8370", "code": "K7QP"}
	wrong.Errors = map[string]string{"code": "This is no code. It is too short."}
	rows := []page.PoolRow{
		{ID: "p1", Lab: "Hillside lab", Server: "https://thudbook.hillside.example:8443", State: page.Status{Level: page.OK, Word: "up to date"}, LastExchange: ago(12 * time.Second), Fingerprint: fingerprint, Key: "k1"},
		{ID: "p2", Lab: "Harbour lab", Server: "https://thudbook.harbour.example:8443", State: page.Status{Level: page.Plain, Word: "exchanging"}, LastExchange: ago(40 * time.Second), Moving: "fetched 120 records and 4 files", ToSend: "2 records and 0 files (1.2 kB)", Fingerprint: fingerprint, Key: "k2"},
		{ID: "p3", Lab: "Northmere lab", Server: "https://thudbook.northmere.example", State: page.Status{Level: page.Bad, Word: "stuck"}, Stuck: "This agent was withdrawn on the server on 2026-05-02. It keeps recording here. If that was a mistake, an administrator makes a new code to enrol it again.", LastExchange: ago(51 * time.Hour), Clock: "This computer's clock is 3m0s behind the server's. Set the clock; shots are recorded all the same, with both times.", Fingerprint: fingerprint, Key: "k3"},
		{ID: "p4", Lab: "Mill lab", Server: "https://thudbook.mill.example", State: page.Status{Level: page.Plain, Word: "not fetched any more"}, Stopped: ago(200 * time.Hour)},
	}
	for i := range rows[:3] {
		rows[i].OwnKey, rows[i].KeyChanging = fingerprint, i == 1
	}
	full := page.Pool{Frame: f, Form: form, Key: "k"}
	for range 12 {
		full.Rows = append(full.Rows, rows[:3]...)
	}
	return []Item{{"pool", page.Pool{Frame: f, Rows: rows, Form: form, Key: "k"}}, {"pool-empty", page.Pool{Frame: f, Form: form}}, {"pool-wrong", page.Pool{Frame: f, Rows: rows[:1], Form: wrong, Key: "k"}}, {"pool-full", full}}
}

func administration() []Item {
	accounts := serverFrame("Accounts", page.PathAccounts)
	choices := map[string][]page.Choice{"lab": append([]page.Choice{{Value: "", Text: "all labs"}}, labChoices()...), "account": {{Value: "u1", Text: "r.example"}}}
	account := page.Form{ID: "acc", Action: page.PostAccount, Fields: page.AccountFields(), Choices: choices, Submit: "Create the account"}
	role := page.Form{ID: "role", Action: page.PostRole, Fields: page.RoleFields(), Choices: choices, Submit: "Give the role"}
	access := page.Form{ID: "access", Action: page.PostAccess, Fields: page.AccessFields(), Choices: choices}
	password := page.Form{Action: page.PostPassword, Fields: page.PasswordFields(), Submit: "Set the password"}
	wrong := account
	wrong.Values = map[string]string{"name": "r.example"}
	wrong.Errors = map[string]string{"name": "This name is taken.", "password": "At least 12 characters."}
	people := []page.AccountRow{
		{Name: "r.example", Roles: []string{"administrator", "manager in Northmere lab"}, LastSeen: ago(time.Minute), State: page.Status{Level: page.OK, Word: "active"}},
		{Name: "s.example", State: page.Status{Level: page.Plain, Word: "locked"}},
	}
	labs := serverFrame("Labs", page.PathLabs)
	lab := page.Form{Action: page.PostLab, Fields: page.LabFields(), Submit: "Create the lab"}
	return []Item{
		{"accounts", page.Accounts{Frame: accounts, Rows: people, Form: account, Role: role, Access: access}},
		{"accounts-error", page.Accounts{Frame: accounts, Rows: people, Form: wrong, Role: role, Access: access}},
		{"password", page.Password{Frame: serverFrame("Password", ""), Form: password}},
		{"labs", page.Labs{Frame: labs, Rows: []page.LabRow{{ID: "l1", Name: "Northmere lab", Shots: page.ShowCount(1204), Campaigns: "2", Agents: 1, LastShot: ago(time.Minute)}}, Form: lab}},
		{"labs-empty", page.Labs{Frame: labs, Form: lab}},
	}
}

func problems() []Item {
	f := serverFrame("Error", "")
	return []Item{
		{"problem-403", page.Problem{Frame: f, Status: 403, What: "You have no right to this.", Fix: "Ask an administrator for the role.", ID: "ABCDEFGHIJKL"}},
		{"problem-422", page.Problem{Frame: f, Status: 422, What: "Nothing says which specimen this shot hit.", Fix: "Assign the shot first, then inspect its specimen.", Link: "Assign the shot", Href: page.ShotAssignHref("x")}},
		{"problem-404", page.Problem{Frame: f, Status: 404, What: "There is nothing at this address.", Fix: "Check the address, or start from the overview."}},
		{"problem-500", page.Problem{Frame: page.Frame{Title: "Error"}, Status: 500, What: "Something went wrong inside Thudbook.", Fix: "Try again. If it happens again, look in the log for the request's number.", ID: "ABCDEFGHIJKL"}},
	}
}

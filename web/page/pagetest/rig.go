package pagetest

import (
	"fmt"
	"time"

	"thudbook/web/page"
)

// rigs are the screens that make a rig ready.
func rigs() []Item {
	f := agentFrame("Rig", page.PathRig, page.AgentCounts{})
	items := []page.Choice{{Value: "", Text: "choose"}, {Value: page.NewItem, Text: "a new item, entered below"}, {Value: "i1", Text: "accelerometer X, S-1001 (sensor)"}}
	mount := page.Form{ID: "mount", Action: page.PostMount, Key: "m", Fields: page.MountFields(), Submit: "Record the mounting", Values: map[string]string{"position": "ay"},
		Choices: map[string][]page.Choice{"position": {{Value: "ram", Text: "ram"}, {Value: "ax", Text: "sensor"}, {Value: "ay", Text: "sensor"}}, "item": items}}
	cert := page.Form{ID: "cert", Action: page.PostRigCert, Key: "c", Fields: page.CalibrationFields(), Submit: "Record the calibration", Choices: map[string][]page.Choice{"item": items[2:]}}
	rows := []page.RigPosition{
		{Position: "ram", Kind: "ram", Item: "ram one, R-1001", Since: ago(212 * 24 * time.Hour), States: []page.Status{{Level: page.Warn, Word: "service due in 40 strokes"}}, Key: "1"},
		{Position: "impactor face", Kind: "impactor face", Key: "2"},
		{Position: "head form", Kind: "head form", Item: "head form, HF-7", Since: ago(30 * 24 * time.Hour), Key: "3"},
		{Position: "neck", Kind: "neck", Item: "neck, N-2", Since: ago(30 * 24 * time.Hour), States: []page.Status{{Level: page.Bad, Word: "quarantined, and mounted"}}, Key: "4"},
		{Position: "ax", Kind: "sensor", Channel: "linear acceleration, \u2212x, g", Item: "accelerometer X, S-1001", Since: ago(9 * 24 * time.Hour), States: []page.Status{{Level: page.OK, Word: "in calibration"}}, Key: "5"},
		{Position: "ay", Kind: "sensor", Channel: "linear acceleration, y, g", Key: "6"},
		{Position: "wx", Kind: "sensor", Channel: "angular velocity, x, rad/s", Item: "rate sensor, RS-0107", Others: []string{"wy", "wz"}, Since: ago(9 * 24 * time.Hour), States: []page.Status{{Level: page.OK, Word: "in calibration"}}, Key: "6x"},
		{Position: "az", Kind: "sensor", Channel: "linear acceleration, z, g", Item: "accelerometer Z, S-1003", Since: ago(9 * 24 * time.Hour), States: []page.Status{{Level: page.Bad, Word: "calibration overdue by 12 days"}}, Key: "7"},
		{Position: "gate", Kind: "light gate", Channel: "light gate, V", Item: "light gate, G-4", Since: ago(212 * 24 * time.Hour), Key: "8"},
		{Position: "tank", Kind: "pressure transducer", Channel: "pressure, kPa", Absent: "none is built in; the gauge is read by eye", AbsentID: "a1", AbsentBy: "R. Example", Key: "9"},
	}
	changes := []page.RigChange{
		{ID: "c1", At: ago(40 * time.Minute), Position: "ay", By: "at the rig", Key: "c1"},
		{ID: "c2", At: ago(9 * 24 * time.Hour), Position: "ay", Item: "accelerometer Y, S-1002", Also: true, By: "R. Example", Key: "c2"},
	}
	rated := page.Form{ID: "rated", Action: page.PostRated, Key: "r", Fields: page.RatedFields("psi"), Submit: "Record the pressure"}
	normal := page.Rig{Frame: f, Map: "rig.toml", Rows: rows, Changes: changes, Mount: mount, Calibration: cert, Rated: rated, Most: page.Pressure{Number: page.Show(145, "psi"), KPa: page.Show(999.7, "kPa")}, MarkedOn: "relief valve, no. 7", MostSince: ago(400 * time.Hour), MostBy: "R. Example",
		NotRated: page.Form{ID: "notrated", Action: page.PostNotRated, Key: "n", Fields: page.MistakenFields(), Submit: "Withdraw the pressure", Values: map[string]string{"id": "1"}}}
	empty := page.Rig{Frame: f, Mount: mount, Calibration: cert, Rated: rated, Rows: []page.RigPosition{{Position: "ram", Kind: "ram"}, {Position: "impactor face", Kind: "impactor face"}, {Position: "head form", Kind: "head form"}, {Position: "neck", Kind: "neck"}}}
	wrong := normal
	wrong.Mount.Values = map[string]string{"position": "ay", "item": "i1", "effective_at": "2031-03-14T14:00"}
	wrong.Mount.Errors = map[string]string{"item": "Accelerometer X, S-1001 sits at rig one, position ax, at this time; an item is in one place at a time. Check the serial number. If it was moved from there to here, confirm it."}
	wrong.Rated.Values, wrong.Rated.Errors = map[string]string{"most": "plenty"}, map[string]string{"most": "“plenty” is no number.", "marked_on": "This is needed."}
	full := normal
	full.Rows, full.Changes, full.More = nil, nil, true
	for i := range 48 {
		r := rows[i%len(rows)]
		r.Position, r.Key = fmt.Sprintf("position_with_a_long_name_%02d", i), fmt.Sprint(i)
		if r.Item != "" {
			r.Item += ", a name that somebody made much too long"
		}
		full.Rows = append(full.Rows, r)
	}
	for i := range 40 {
		c := changes[i%2]
		c.ID, c.At = fmt.Sprint("c", i), ago(time.Duration(i)*31*time.Hour)
		full.Changes = append(full.Changes, c)
	}
	return []Item{{"rig", normal}, {"rig-empty", empty}, {"rig-error", wrong}, {"rig-full", full}}
}

// setups is the guided first set-up, step by step.
func setups() []Item {
	f := agentFrame("Set the rig up", page.PathSetup, page.AgentCounts{})
	name := page.Form{ID: "name", Action: page.PostSetupRig, Key: "k", Fields: page.SetupRigFields(), Submit: "Check the folder", Values: map[string]string{"rig": "rig one"}}
	empty := page.Setup{Frame: f, Name: name}
	wrong := empty
	wrong.Name.Values = map[string]string{"rig": "rig one", "folder": `\\measuring-pc\share\out`}
	wrong.Name.Errors = map[string]string{"folder": `The watched folder \\measuring-pc\share\out is not there. Check the path. A share of another computer is written with both names, such as \\computer\share\folder, and the user that runs the agent needs the right to read it.`}
	normal := page.Setup{Frame: f, Name: name, Folder: `D:\acquisition\out`, Files: "12 files of shots in it", Newest: "shot_0012.csv", Sample: "shot_0012.csv", Key: "m",
		Unsure: []string{"Column gate looks like a light gate; the length of its flag is not in the file: set flag_mm."}}
	all := Traces(2000)
	for i, c := range all.Channels[:3] {
		one := *all
		one.Channels = all.Channels[i : i+1]
		p := fmt.Sprintf("c%d_", i)
		normal.Channels = append(normal.Channels, page.SetupChannel{Column: c.Name, Trace: &one, Form: page.Form{ID: "c", Fields: page.SetupChannelFields(i),
			Values: map[string]string{p + "column": c.Name, p + "measures": "linear acceleration", p + "axis": "x", p + "unit": "g", p + "cfc": "1000"}}})
	}
	normal.Channels = append(normal.Channels, page.SetupChannel{Form: page.Form{ID: "c", Fields: page.SetupChannelFields(3)}})
	normal.Rest = page.Form{ID: "rest", Fields: page.SetupMapFields(), Values: map[string]string{"time_column": "t", "time_unit": "s", "rule": "quiet"}}
	normal.Trial = page.SetupTrial{Headline: []page.Result{results()[0], results()[2], results()[3]}, Flags: flags()}
	replaces := normal
	replaces.Unsure, replaces.Ask, replaces.Trial.Flags = nil, true, nil
	replaces.Replaces = page.SetupReplaces{Map: "rig one", Key: "k", Changes: []string{"Unit of the time: ms becomes s", "Moving mass of the ram: 15 kg becomes none", "channel ax, Full scale, in the unit: 500 becomes none", "channel gate: left out"}}
	saved := normal
	saved.Saved, saved.Unsure = true, []string{"Column temp is in the file, and the saved map leaves it out. To read it, fill in “One more column”."}
	full := normal
	full.Channels = nil
	for i := range 24 {
		ch := normal.Channels[i%3]
		ch.Column, ch.Form = fmt.Sprintf("a_column_with_a_long_name_%02d", i), page.Form{ID: "c", Fields: page.SetupChannelFields(i)}
		full.Channels = append(full.Channels, ch)
	}
	done := page.Setup{Frame: f, Name: name, Folder: `D:\acquisition\out`, Files: "12 files of shots in it", Done: true}
	given := page.Setup{Frame: f, Given: "The folder or the channel map stands on the agent’s command line (--watch, --map), which goes before this screen. What they say holds, and is shown below. To set the rig up here instead, start the agent with --data alone.",
		Holds: []page.SetupHolds{{Folder: `D:\acquisition\out`, Map: "rig.toml (west bay)"}, {Folder: `E:\second`, Problem: "The watched folder is not there."}}}
	held := page.Setup{Frame: f, Name: name, Folder: normal.Folder, Files: normal.Files, Newest: normal.Newest, Held: "rig one"}
	return []Item{{"setup-held", held}, {"setup", normal}, {"setup-empty", empty}, {"setup-error", wrong}, {"setup-full", full}, {"setup-done", done}, {"setup-given", given}, {"setup-replaces", replaces}, {"setup-saved", saved}}
}

// readies is whether one can shoot.
func readies() []Item {
	f := agentFrame("Ready to shoot", page.PathReady, page.AgentCounts{})
	always := []string{"Nobody in the path of the ram or beside it.", "The guard is closed, and eye and ear protection is worn."}
	bad := []page.ReadyRow{
		{What: "accelerometer Z, S-1003, position az", State: page.Status{Level: page.Bad, Word: "calibration overdue by 12 days"}, Reason: "Certificate C-88 of 2030-03-02.", Href: page.PathRig},
		{What: "position ay", State: page.Status{Level: page.Bad, Word: "nothing is mounted"}, Href: page.PathRig},
	}
	good := []page.ReadyRow{
		{What: "system check", State: page.Status{Level: page.Warn, Word: "none today"}, Reason: "Hit the reference pad before the first shot of the day."},
		{What: "other items at the rig", State: page.Status{Level: page.OK, Word: "6 items in order"}, Href: page.PathRig},
		{What: "disk", State: disk().State, Reason: "182 GB free, room for about 21 000 shots"},
		{What: "clock", State: page.Status{Level: page.Plain, Word: "not compared: no server was reached"}},
		{What: "server", State: page.Status{Level: page.Plain, Word: "no server set"}, Href: page.PathConnect},
	}
	form := page.Form{ID: "on", Action: page.PostWentOn, Key: "k", Fields: page.WentOnFields(), Submit: "Go on with this reason"}
	normal := page.Ready{Frame: f, State: page.Status{Level: page.Bad, Word: "not ready: 2 things overdue, missing or out of order"}, Rows: append(bad[:2:2], good...), Clock: Now(), Form: form, Always: always}
	wrong := normal
	wrong.Form.Errors = map[string]string{"reason": "This is needed."}
	on := normal
	on.Form = page.Form{}
	on.State = page.Status{Level: page.Warn, Word: "going on with a reason; the shots carry a flag"}
	on.On = []page.WentOn{{What: []string{"accelerometer Z, S-1003, position az: calibration overdue by 12 days", "position ay: nothing is mounted"}, Reason: "The certificate is on its way; y is not needed for this series.", By: "R. Example", Until: Now().Add(8 * time.Hour)}}
	empty := page.Ready{Frame: f, State: page.Status{Level: page.OK, Word: "nothing is overdue or missing"}, Rows: good[1:], Clock: Now(), Always: always}
	full := normal
	full.Rows = nil
	for i := range 60 {
		r := bad[i%2]
		r.What = fmt.Sprintf("%s number %d, of a name that somebody made much too long", r.What, i)
		full.Rows = append(full.Rows, r)
	}
	return []Item{{"ready", normal}, {"ready-error", wrong}, {"ready-on", on}, {"ready-empty", empty}, {"ready-full", full}}
}

package pagetest

import (
	"fmt"
	"time"

	"thudbook/web/page"
)

// rigs are the screens that make a rig ready.
func rigs() []Item {
	f := agentFrame("Rig set-up", page.PathRig, page.AgentCounts{})
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
		{Position: "az", Kind: "sensor", Channel: "linear acceleration, z, g", Item: "accelerometer Z, S-1003", Since: ago(9 * 24 * time.Hour), States: []page.Status{{Level: page.Bad, Word: "calibration overdue by 12 days"}}, Key: "7"},
		{Position: "gate", Kind: "light gate", Channel: "light gate, V", Item: "light gate, G-4", Since: ago(212 * 24 * time.Hour), Key: "8"},
	}
	changes := []page.RigChange{
		{ID: "c1", At: ago(40 * time.Minute), Position: "ay", By: "at the rig", Key: "c1"},
		{ID: "c2", At: ago(9 * 24 * time.Hour), Position: "ay", Item: "accelerometer Y, S-1002", By: "R. Example", Key: "c2"},
	}
	normal := page.Rig{Frame: f, Map: "rig.toml", Rows: rows, Changes: changes, Mount: mount, Calibration: cert}
	empty := page.Rig{Frame: f, Mount: mount, Calibration: cert, Rows: []page.RigPosition{{Position: "ram", Kind: "ram"}, {Position: "impactor face", Kind: "impactor face"}, {Position: "head form", Kind: "head form"}, {Position: "neck", Kind: "neck"}}}
	wrong := normal
	wrong.Mount.Values = map[string]string{"position": "ay", "item": "i1", "effective_at": "2031-03-14T14:00"}
	wrong.Mount.Errors = map[string]string{"item": "Accelerometer X, S-1001 sits at rig one, position ax, at this time; an item is in one place at a time. Check the serial number. If it was moved from there to here, confirm it."}
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

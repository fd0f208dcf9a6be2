package pagetest

import (
	"strings"

	"thudbook/web/page"
)

// anotherMaps are the screen on which a shot is computed again by another map.
func anotherMaps() []Item {
	f := agentFrame("Compute again by another channel map", page.PathShots, page.AgentCounts{})
	sum := strings.Repeat("ab12", 16)
	p := page.AnotherMap{Frame: f, Shot: page.ShotPath("x"), What: "FG-A-012, front, ambient", Holds: page.MapUsed{Name: "rig.toml", SHA256: strings.Repeat("77cd", 16)},
		Maps: []page.Choice{{Value: sum, Text: "rig one, seven channels, ab12ab12, holds now for new files"}, {Value: "2", Text: "rig one, 90cc41d2, last for the shot of 2031-02-02 10:11:12"}}, Chosen: sum}
	p.Change = &page.MapPreview{Differs: []string{"channel ax, Measures: angular velocity becomes linear acceleration", "channel wx, Measures: linear acceleration becomes angular velocity"},
		Rows: []page.MapResult{{Name: "Impact speed", Pair: page.Pair{Before: page.Show(5.47, "m/s"), After: page.Show(5.47, "m/s")}},
			{Name: "Peak linear acceleration", Pair: page.Pair{Before: page.Show(31.2, "g"), After: page.Show(98.4, "g")}, Moves: true},
			{Name: "HIC, 15 ms", Pair: page.Pair{Before: page.Show(22, "HIC"), After: page.Show(331, "HIC")}, Moves: true},
			{Name: "Peak angular velocity", Pair: page.Pair{Before: page.Missing("not in the file"), After: page.Show(29.1, "rad/s")}, Moves: true}},
		Gone: flags()[:1], Stay: "1 flag stays.",
		Confirm: page.Form{ID: "another", Action: page.AnotherMapPath("x"), Fields: page.AnotherMapFields(), Values: map[string]string{page.AnotherMapField: sum}, Submit: "Let this result hold"}}
	bad := p
	broken := *p.Change
	broken.Errors = []page.FileError{{Code: "missing_column", What: "The file has no column az.", Line: 1, Channel: "az", Fix: "Mend the channel map."}}
	broken.Come, broken.Differs = flags()[1:], nil
	broken.Confirm.Errors = map[string]string{"reason": "This is needed."}
	bad.Change, bad.Holds, bad.What = &broken, page.MapUsed{Guessed: true}, longName
	return []Item{{"another-map", p}, {"another-map-error", bad}, {"another-map-none", page.AnotherMap{Frame: f, Shot: p.Shot, What: p.What, Holds: p.Holds}}}
}

package pagetest

import (
	"time"

	"thudbook/web/chart"
	"thudbook/web/page"
)

func checks() []Item {
	var x, y, low, high []float64
	var rows []page.CheckRow
	for i := range 24 {
		peak := 101 + 1.7*float64(i*7%5-2)
		r := page.CheckRow{At: ago(time.Duration(24*(23-i)) * time.Hour), Href: "/shots/1", State: page.Status{Level: page.OK, Word: "good"}, Against: "set limits and 23 checks"}
		if i < 10 {
			r.State, r.Against = page.Status{Word: "not judged"}, "nothing: 9 of 10 checks"
		} else {
			low, high = append(low, 92), append(high, 110)
		}
		if i == 23 {
			peak = 118
			r.State, r.Words = page.Status{Level: page.Bad, Word: "failed"}, "peak linear acceleration 118 g, above the limit of 112 g, outside 92 to 110 g of the control chart"
		}
		r.Values = []page.Number{page.Show(peak, "g"), page.Show(2.4*peak, "HIC"), page.Show(peak/5.5, "g/(m/s)")}
		if i == 4 {
			r.Values[2] = page.Missing("not in the file")
		}
		x, y, rows = append(x, float64(i+1)), append(y, peak), append([]page.CheckRow{r}, rows...)
	}
	drawn := page.CheckChart{Name: "Peak linear acceleration", Text: "Peak linear acceleration of 24 checks, 1 beyond a limit. The newest was held against 92.0 to 110.0 g of the control chart.",
		HTML: chart.Scatter{XLabel: "check, the oldest first", Counts: true, Unit: "g", Series: []chart.Series{{Label: "within", X: x[:23], Y: y[:23]}, {Label: "beyond a limit", X: x[23:], Y: y[23:]},
			{Label: "control limit, lower", Line: true, Dash: "y", X: x[10:], Y: low}, {Label: "control limit, upper", Line: true, Dash: "y", X: x[10:], Y: high}}}.HTML()}
	limits := []page.CheckLimit{{Name: "Peak linear acceleration", For: "this setup", Least: page.Show(90, "g"), Most: page.Show(112, "g"), Source: "certificate of the pad, no. 31-0117", Since: ago(90 * 24 * time.Hour)},
		{Name: "HIC15", For: "this setup", Least: page.Missing("none"), Most: page.Show(290, "HIC"), Since: ago(90 * 24 * time.Hour)}}
	pad := []page.Choice{{Value: "P-17", Text: "P-17"}}
	fire := page.Form{ID: "check", Action: page.PostConfirm, Key: "k", Fields: page.CheckFields("psi"), Submit: "Confirmed: wait for its file", Values: map[string]string{page.PadField: "P-17", "target_speed_m_s": "5.50", "pressure": "20.5"}, Choices: map[string][]page.Choice{page.PadField: pad}}
	f := agentFrame("System check", page.PathCheck, page.AgentCounts{})
	failed := page.Check{Frame: f, Path: page.PathCheck, Pad: "P-17", Pads: pad, Href: "/shots/1", State: page.Status{Level: page.Bad, Word: "the last one failed"},
		Reason: "Fired 2031-03-14 08:02: peak linear acceleration 118 g, above the limit of 112 g. Since the last good one, of 2031-03-13 08:10, 41 shots were fired; they carry the flag “check failed”. Find out why, then check again.",
		Charts: []page.CheckChart{drawn}, Rows: rows, Limits: limits, Fire: fire}
	failed.Setup = "head form: Head form, HF-2; neck: Neck, N-1; impactor face: Impactor face, IF-4; target speed: 5.50 m/s"
	good := failed
	good.Rows, good.State, good.Reason = rows[1:5], page.Status{Level: page.OK, Word: "fired today, good"}, "Fired 2031-03-14 08:02."
	other := "head form: Head form, HF-1; neck: Neck, N-1; impactor face: none recorded; target speed: none stated"
	anew := good
	anew.Rows, anew.Charts, anew.Limits = rows[22:], nil, nil
	anew.State, anew.Reason = page.Status{Word: "fired today, not judged yet"}, "Fired 2031-03-14 08:02. No limit is set, and 0 of the 10 good checks for a control chart are there. It began a new series, since the setup is another one: head form: Head form, HF-2, before: Head form, HF-1."
	anew.Series = []page.Choice{{Value: "a", Text: anew.Setup + " (2 checks)"}, {Value: "b", Text: other + " (41 checks)"}, {Value: "c", Text: longName}}
	anew.SeriesKey, anew.Began = "a", "A new series began 2031-03-14 08:02, with another setup than the check before it: head form: Head form, HF-2, before: Head form, HF-1."
	anew.Ahead = "The next check on this pad begins a new series, since the setup is another one than at the last check: neck: Neck, N-2, before: Neck, N-1; target speed: 5.00 m/s, before: 5.50 m/s."
	empty := page.Check{Frame: f, Path: page.PathCheck, State: page.Status{Level: page.Warn, Word: "none today"}, Reason: "Hit the reference pad before the first shot of the day.", Fire: fire}
	wrong := empty
	wrong.Fire.Values, wrong.Fire.Errors = map[string]string{"pressure": "much"}, map[string]string{page.PadField: "Say by its serial number which pad is hit.", "pressure": "“much” is no number."}
	atServer := failed
	atServer.Frame, atServer.Path, atServer.Fire, atServer.Rig = serverFrame("System checks", page.PathChecks), page.PathChecks, page.Form{}, "r1"
	atServer.Rigs = []page.Choice{{Value: "r1", Text: "rig one, Northmere lab"}, {Value: "r2", Text: longName}}
	atServer.Pads = append(pad, page.Choice{Value: "P-18", Text: "P-18"})
	atServer.More = true
	atServer.Set = page.Form{ID: "limits", Action: page.PostCheckLimits, Key: "k", Fields: page.CheckLimitsFields(), Submit: "Set these limits", Values: map[string]string{"pad": "P-17", "peak_least": "120", "peak_most": "100"},
		Errors: map[string]string{"peak_most": "The most, 100, is not above the least, 120. Exchange them."}, Choices: map[string][]page.Choice{"pad": atServer.Pads,
			"setup": {{Value: "s1", Text: "head form HF-2, neck N-1, impactor face IF-4, 5.50\u00a0m/s (24 checks)"}, {Value: "", Text: "every setup on this pad"}}}}
	return []Item{{"check", good}, {"check-failed", failed}, {"check-anew", anew}, {"check-empty", empty}, {"check-error", wrong}, {"checks-server", atServer},
		{"checks-server-empty", page.Check{Frame: atServer.Frame, Path: page.PathChecks, State: page.Status{Word: "no rig yet"}, Reason: "A rig is listed once its agent has reached this server."}}}
}

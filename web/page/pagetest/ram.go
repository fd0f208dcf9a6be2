package pagetest

import (
	"math"
	"time"

	"thudbook/web/chart"
	"thudbook/web/page"
)

func rams() []Item {
	f := agentFrame("Strokes", page.PathStrokes, page.AgentCounts{})
	dry := page.Form{ID: "dry", Action: page.PathStrokes, Key: "k", Fields: page.DryFields("psi"), Submit: "Count them", Values: map[string]string{"number": "1", "pressure": "20.5"}}
	counter := page.Form{ID: "counter", Action: page.PostCounter, Key: "k", Fields: page.CounterFields(), Submit: "Enter the reading"}
	back := page.Form{Action: page.PostWithdraw, Submit: "Take it back"}
	normal := page.Strokes{Frame: f, Ram: "Ram, R-100", Since: "412 strokes of 500", Service: ago(41 * 24 * time.Hour), Dry: dry, Counter: counter, Last: "Last read: 10 412 strokes, 2031-03-13 17:02:11 +01:00.",
		Entries: []page.BareRow{{At: ago(time.Hour), What: "3 dry strokes", Pressure: page.Pressure{Number: page.Show(20.5, "psi"), KPa: page.Show(141.3, "kPa")}, Withdraw: back},
			{At: ago(3 * time.Hour), What: "fired, no file came", Hit: "FG-A-012, front, ambient", Pressure: page.Pressure{Number: page.Missing("not recorded")}, Reason: "acquisition not armed", Withdraw: back}},
		Reads: []page.ReadRow{{At: ago(22 * time.Hour), Counter: "10 412", Counted: "61", Recorded: "56", State: page.Status{Level: page.Warn, Word: "5 unaccounted"}, Reason: longName, Withdraw: back},
			{At: ago(46 * time.Hour), Counter: "10 351", Counted: "40", Recorded: "40", State: page.Status{Level: page.OK, Word: "all accounted for"}, Withdraw: back},
			{At: ago(70 * time.Hour), Counter: "10 311", Counted: "–", Recorded: "–", State: page.Status{Word: "first reading"}, Withdraw: back}}}
	bad := normal
	bad.Counter.Values = map[string]string{"counter": "10480"}
	bad.Counter.Errors = map[string]string{"reason": "The counter has 68 strokes since the last reading, 61 are recorded: 7 are unaccounted. Say why."}
	full := normal
	for range 6 {
		full.Entries, full.Reads = append(full.Entries, full.Entries...), append(full.Reads, normal.Reads...)
	}
	var n, v, p, r, z, low, high []float64
	for i := range 120 {
		at := float64(i)
		n, p = append(n, at), append(p, 120+10*float64(i%4))
		r = append(r, 0.02*math.Sin(7*at)-0.0008*at+0.05)
		v, z = append(v, math.Sqrt(-4+0.23*p[i])+r[i]), append(z, 0.05-0.0008*at)
		low, high = append(low, -0.03), append(high, 0.03)
	}
	line := func(label string, y []float64, dash string) chart.Series {
		return chart.Series{Label: label, X: n, Y: y, Line: true, Dash: dash}
	}
	d := agentFrame("Drift", page.PathDrift, page.AgentCounts{})
	drift := page.Drift{Frame: d, Ram: "Ram, R-100", Service: ago(41 * 24 * time.Hour), Shots: "120 shots", FitText: "Speed over pressure of 120 shots, with the fitted curve",
		Words: []page.Notice{{Level: page.Warn, Text: "The ram has become slower at a given pressure: by about 0.05 m/s against its first shots since the service.", Fix: "Look at seals, valve, gauge and light gate before more shots."},
			{Text: "The ram loses speed. At this rate the speed at the pressure that gave the target right after the service leaves 5.50 ± 0.10 m/s after about 125 strokes (between 110 and 144, 95 %); 119 are done. That is about 6 strokes from now."}},
		Fit:      chart.Scatter{XLabel: "tank pressure, kPa gauge", Unit: "m/s", Series: []chart.Series{{Label: "shots", X: p, Y: v}, {Label: "fit", Line: true, X: []float64{120, 135, 150}, Y: []float64{4.86, 5.2, 5.52}}}}.HTML(),
		Residual: chart.Scatter{XLabel: "stroke since the service", Counts: true, Unit: "m/s", Series: []chart.Series{{Label: "measured less predicted", X: n, Y: r}, line("moving average (EWMA)", z, ""), line("its limits, lower", low, "y"), line("upper", high, "y")}}.HTML(),
		CUSUM:    chart.Scatter{XLabel: "stroke since the service", Counts: true, Unit: "standard deviations", Series: []chart.Series{line("downward", n, ""), line("limit", high, "y")}}.HTML()}
	few := drift
	few.CUSUM, few.NoCharts, few.Words = "", "the first 20 shots give level and scatter; 12 are there", nil
	return []Item{{"strokes", normal}, {"strokes-empty", page.Strokes{Frame: f, Dry: dry, Counter: counter}}, {"strokes-error", bad}, {"strokes-full", full},
		{"drift", drift}, {"drift-few", few}, {"drift-empty", page.Drift{Frame: d, Shots: "no shot", Why: "There is nothing to fit yet: a line with an interval needs three points at two different places at least."}}}
}

package pagetest

import (
	"math"
	"strconv"

	"thudbook/web/chart"
	"thudbook/web/page"
)

// shockOf is the section of shock response spectra: asked for or not, with a fault
// or with three invented curves.
func shockOf(asked bool, fault string) *page.Shock {
	s := &page.Shock{Shot: "x", Asked: asked, Fault: fault, Form: page.Form{ID: "shock", Fields: page.ShockFields()}}
	if !asked {
		return s
	}
	s.Form.Values = map[string]string{"q": "10", "per_octave": "6"}
	if fault != "" {
		s.Form.Values["to"] = "30000"
		return s
	}
	s.Says = "Maximax absolute acceleration, Q = 10 (damping ratio 0.05), 6 natural frequencies an octave. The record as filtered by the channel map."
	s.CSV = page.ShockCSVPath("x", nil)
	s.Heads = []string{"ax (X)", "ay (Y)", "az (Z)"}
	s.Notes = []string{"ax, ay, az: Below 8.33 Hz a period is longer than the record of 0.12 s; there an offset of the sensor weighs as much as the shock. Start the spectrum higher, or make sure of the offset."}
	plot := chart.LogLog{XLabel: "natural frequency, Hz", Unit: "g"}
	size := []float64{92, 31, 18}
	for i, head := range s.Heads {
		plot.Curves = append(plot.Curves, chart.LogCurve{Label: head, Axis: []string{"x", "y", "z"}[i]})
	}
	for f := 5.0; f <= 1000; f *= math.Exp2(1.0 / 6) {
		plot.X = append(plot.X, f)
		row := page.ShockRow{Frequency: strconv.FormatFloat(f, 'f', 1, 64)}
		for i := range plot.Curves {
			p := f / (70 * (1 + 0.4*float64(i)))
			g := size[i] * p * math.Sqrt((1+0.3*p)/(1+p*p*(0.3*p+0.6)))
			plot.Curves[i].Y = append(plot.Curves[i].Y, g)
			row.Cells = append(row.Cells, page.Show(g, "g").Text)
		}
		row.Largest = row.Cells[0]
		s.Rows = append(s.Rows, row)
	}
	s.Plot = plot.HTML()
	return s
}

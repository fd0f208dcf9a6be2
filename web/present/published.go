package present

import (
	"strings"

	"thudbook/metrics/risk"
	"thudbook/sync/lab"
	"thudbook/web/page"
)

// Published evaluates the published functions of a shot's results. Each row carries
// the sentence that says what it is not; show none without it.
func Published(results map[string]lab.Result) []page.Published {
	values := make(map[string]float64, len(results))
	for name, r := range results {
		values[name] = r.Value
	}
	var out []page.Published
	for _, v := range risk.Evaluate(values) {
		p := page.Published{Name: v.Name, Authors: v.Authors, Year: v.Year, Sentence: v.Sentence, Value: page.Show(100*v.Value, "%")}
		if v.Bound != "" {
			p.Value.Text = v.Bound + " " + p.Value.Text
		}
		var of []string
		for _, g := range v.Inputs {
			shown, unit := shown(g.Result, g.Value, g.Unit)
			n := page.Show(shown, unit)
			words := page.MetricName(g.Result) + " " + n.Text
			if n.Unit != "" {
				words += " " + n.Unit
			}
			if g.Clamped {
				words += " (taken as this, the bound of the function)"
			}
			of = append(of, words)
		}
		p.Of = strings.Join(of, ", ")
		out = append(out, p)
	}
	return out
}

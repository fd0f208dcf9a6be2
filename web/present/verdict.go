package present

import (
	"slices"
	"strings"

	"thudbook/metrics/limits"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Verdict is how the results of a shot stand against the acceptance limits of campaigns.
type Verdict struct {
	Compared int
	Above    []string // which limits, in words, in their order
	Open     int      // results below their limit of which only a lower bound is known
}

// VerdictOf holds results against the limits of campaigns, by simple acceptance.
func VerdictOf(with []view.CampaignRow, results map[string]lab.Result) (v Verdict) {
	for i := range with {
		for _, l := range with[i].Campaign.AcceptanceLimits {
			r, ok := results[l.Result]
			if !ok {
				continue
			}
			j := limits.Judge(limits.Measured{Value: r.Value, Unit: r.Unit, Expanded: r.ExpandedUncertainty}, limits.Limit{Result: l.Result, Most: l.Most, Unit: l.Unit})
			if !j.Comparable {
				continue
			}
			if j.Within && lowerBound(r) {
				v.Open++
			}
			if v.Compared++; !j.Within {
				most, unit := shown(l.Result, l.Most, l.Unit)
				n := page.Show(most, unit)
				v.Above = append(v.Above, strings.TrimSpace(page.MetricName(l.Result)+" above "+n.Text+" "+n.Unit))
			}
		}
	}
	return v
}

// Status says the verdict in words.
func (v Verdict) Status() page.Status {
	switch {
	case v.Compared == 0:
		return page.Status{Level: page.Plain, Word: "no limit"}
	case len(v.Above) == 0 && v.Open > 0:
		return page.Status{Level: page.Warn, Word: "not known: a lower bound"}
	case len(v.Above) == 0:
		return page.Status{Level: page.OK, Word: "within"}
	}
	return page.Status{Level: page.Bad, Word: strings.Join(v.Above, "; ")}
}

// Differs says that another limit is passed or broken.
func (v Verdict) Differs(o Verdict) bool { return !slices.Equal(v.Above, o.Above) }

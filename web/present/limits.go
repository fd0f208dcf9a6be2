package present

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"thudbook/metrics/limits"
	"thudbook/metrics/score"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Limits holds a shot's results against the acceptance limits of the campaigns of
// its lab that have its specimen. A dry stroke, a void shot, and a shot without a
// score or a specimen are held against nothing.
func Limits(ctx context.Context, views *view.Reader, sc scope.Scope, r *view.ShotRow, scores []view.ScoreRow) ([]page.LimitRow, error) {
	if r.Shot.Kind != lab.ShotHit || r.Void() || r.Shot.Specimen == "" || len(scores) == 0 {
		return nil, nil
	}
	var out []page.LimitRow
	with, err := CampaignsWith(ctx, views, sc.Only(r.Lab), r.Shot.Specimen)
	if err != nil {
		return nil, fmt.Errorf("limits of shot %s: %w", r.ID, err)
	}
	for i := range with {
		for _, l := range with[i].Campaign.AcceptanceLimits {
			out = append(out, limitRow(with[i].Campaign.Name, l, scores[0].Score.Results))
		}
	}
	return out, nil
}

// CampaignsWith lists the campaigns of a scope that have a specimen, by name.
func CampaignsWith(ctx context.Context, views *view.Reader, sc scope.Scope, specimen string) (out []view.CampaignRow, err error) {
	name := lab.Fold(specimen)
	for p := (view.Page{Limit: 200}); name != ""; {
		list, err := views.Campaigns(ctx, sc, p)
		if err != nil {
			return nil, err
		}
		for _, r := range list.Rows {
			if slices.ContainsFunc(r.Campaign.Specimens, func(s string) bool { return lab.Fold(s) == name }) {
				out = append(out, r)
			}
		}
		if p.After = list.Next; list.Next == "" {
			break
		}
	}
	return out, nil
}

// CampaignLimits lists the acceptance limits of a campaign: what, at most, from where.
func CampaignLimits(c *lab.Campaign) []page.LimitRow {
	out := make([]page.LimitRow, 0, len(c.AcceptanceLimits))
	for _, l := range c.AcceptanceLimits {
		most, unit := shown(l.Result, l.Most, l.Unit)
		out = append(out, page.LimitRow{Name: page.MetricName(l.Result), Most: page.Show(most, unit), Source: printed(l)})
	}
	return out
}

// limitRow judges one limit.
func limitRow(campaign string, l lab.Limit, results map[string]lab.Result) page.LimitRow {
	limit := limits.Limit{Result: l.Result, Most: l.Most, Unit: l.Unit}
	most, unit := shown(l.Result, l.Most, l.Unit)
	row := page.LimitRow{Name: page.MetricName(l.Result), Campaign: campaign, Most: page.Show(most, unit), Source: printed(l)}
	r, ok := results[l.Result]
	if !ok {
		row.Value, row.Margin = page.Missing("not in the file"), page.Missing("not compared")
		row.State = page.Status{Level: page.Warn, Word: "not compared: the shot has no such result"}
		return row
	}
	row.Value = result(l.Result, r).Value
	v := limits.Judge(limits.Measured{Value: r.Value, Unit: r.Unit, Expanded: r.ExpandedUncertainty}, limit)
	if !v.Comparable {
		row.Margin = page.Missing("not compared")
		row.State = page.Status{Level: page.Warn, Word: v.Words}
		return row
	}
	most, unit = shown(l.Result, v.Limit, r.Unit)
	margin, _ := shown(l.Result, v.Margin, r.Unit)
	row.Most, row.Margin = page.Show(most, unit), page.Show(margin, unit)
	row.State = page.Status{Level: page.OK, Word: "within the limit"}
	if !v.Within {
		row.State = page.Status{Level: page.Bad, Word: "above the limit"}
	}
	switch {
	case v.Within && lowerBound(r):
		row.State = page.Status{Level: page.Warn, Word: "not known: the value is a lower bound, the true one may be above the limit"}
	case r.ExpandedUncertainty == nil:
		row.State.Level = max(row.State.Level, page.Warn)
		row.State.Word += "; its uncertainty is not known"
	}
	if v.Close {
		row.State.Level = page.Warn
		row.State.Word += ", by less than the uncertainty"
	}
	return row
}

// lowerBound says that the true value of a result may be larger.
func lowerBound(r lab.Result) bool { return strings.Contains(r.Note, score.LowerBound) }

// printed says where a limit of a campaign is printed, as far as this program knows.
func printed(l lab.Limit) string {
	s := "set by the campaign"
	if l.Source != "" {
		s += ": " + l.Source
	}
	found := limits.Printed(l.Result, l.Most, l.Unit)
	if len(found) == 0 {
		return s
	}
	s += "; the figure of " + found[0].Source
	if !found[0].Confirmed {
		s += ", limit " + limits.Unconfirmed
	}
	return s
}

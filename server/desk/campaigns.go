package desk

import (
	"context"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

func (d *Desk) campaigns(c echo.Context) error { return d.campaignsPage(c, nil, http.StatusOK) }

func (d *Desk) campaignsPage(c echo.Context, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Campaigns{Frame: d.frame(&p, "Campaigns", page.PathCampaigns)}
	sc := p.Scope
	if text := c.QueryParam("lab"); text != "" {
		in, err := d.place(ctx, &p, text)
		if err != nil {
			return err
		}
		sc = in.Scope
	}
	err = every(ctx, func(q view.Page) (view.List[view.CampaignRow], error) { return d.Views.Campaigns(ctx, sc, q) }, func(r *view.CampaignRow) error {
		row, err := d.campaignRow(ctx, &p, r)
		s.Rows = append(s.Rows, row)
		return err
	})
	if err != nil {
		return err
	}
	if labs := p.keeps(); len(labs) > 0 {
		s.MayEdit = true
		s.Form = httpkit.Blank(page.CampaignFields(), page.PostCampaign, "campaign", "Create")
		s.Form.Choices = map[string][]page.Choice{"lab": choices(labs), "rig": {{Value: "", Text: "not said"}}}
		for i := range labs {
			in, err := d.Roster.Find(ctx, p.Scope, labs[i].ID.String())
			if err != nil {
				return err
			}
			rigs, err := d.rigChoices(ctx, in, ", "+labs[i].Title())
			if err != nil {
				return err
			}
			s.Form.Choices["rig"] = append(s.Form.Choices["rig"], rigs...)
		}
	}
	if typed != nil {
		typed.Into(&s.Form)
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

// inLab gives the lab of a campaign: its name, and its scope with aliases.
func (d *Desk) inLab(ctx context.Context, p *caller, r *view.CampaignRow) (string, scope.Scope, view.Progress, error) {
	name, err := p.names.Of(ctx, r.Lab)
	if err != nil {
		return "", scope.Scope{}, view.Progress{}, err
	}
	sc, err := d.labScope(ctx, p, r.Lab)
	if err != nil {
		return "", scope.Scope{}, view.Progress{}, err
	}
	also, _ := sc.List()
	progress, err := d.Views.CampaignProgress(ctx, sc, r.ID, also...)
	return name, sc, progress, err
}

func (d *Desk) campaignRow(ctx context.Context, p *caller, r *view.CampaignRow) (page.CampaignRow, error) {
	row := page.CampaignRow{ID: r.ID.String(), Name: r.Campaign.Name}
	name, sc, progress, err := d.inLab(ctx, p, r)
	if err != nil {
		return row, err
	}
	t := &progress.Total
	row.Lab, row.Done, row.Planned, row.Rejected, row.State = name, small(t.Done), small(t.Planned), small(t.OffSpeed+t.Void), under(t)
	row.LastShot, err = d.lastOf(ctx, sc, r.Campaign.Specimens)
	return row, err
}

func small(n int64) int { return int(min(n, math.MaxInt32)) }

func under(t *view.CellProgress) page.Status {
	switch {
	case t.Planned == 0:
		return page.Status{Level: page.Plain, Word: "nothing planned"}
	case t.Done >= t.Planned:
		return page.Status{Level: page.OK, Word: "complete"}
	case t.Done == 0 && t.OffSpeed == 0:
		return page.Status{Level: page.Plain, Word: "not begun"}
	default:
		return page.Status{Level: page.Plain, Word: "under way"}
	}
}

// lastOf gives when one of the specimens was hit last.
func (d *Desk) lastOf(ctx context.Context, sc scope.Scope, specimens []string) (last time.Time, err error) {
	for _, s := range specimens {
		t, err := d.lastShot(ctx, sc, view.ShotFilter{Specimen: s})
		if err != nil {
			return last, err
		}
		if t.After(last) {
			last = t
		}
	}
	return last, nil
}

func (d *Desk) campaignPage(c echo.Context, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	r, in, err := d.ofCampaign(c, &p)
	if err != nil {
		return err
	}
	name, sc, progress, err := d.inLab(ctx, &p, &r)
	if err != nil {
		return err
	}
	t := &progress.Total
	s := page.Campaign{Frame: d.frame(&p, r.Campaign.Name, page.PathCampaigns), ID: r.ID.String(), Name: r.Campaign.Name, Lab: name,
		Tolerance: tolerance(r.Campaign.Cells), Conditions: strings.Join(conditions(r.Campaign.Cells), ", "), Times: timesOf(&r.Campaign),
		Done: small(t.Done), Planned: small(t.Planned), Rejected: small(t.OffSpeed + t.Void),
		ShotsHref: page.PathShots + "?" + url.Values{"campaign": {r.ID.String()}}.Encode()}
	s.Refresh = 5
	said(c, &s.Frame, map[string]string{"campaign": "The campaign is laid out.", "limits": "The limits are set. Shots are held against them from now on.", "when": "Rig and days are set. Forecasts of services follow them from now on."})
	if err := d.when(ctx, &p, in, &r, &s); err != nil {
		return err
	}
	if err := d.planChanged(ctx, sc, &r, &s); err != nil {
		return err
	}
	if typed != nil {
		switch {
		case s.When == nil:
		case c.Path() == page.PathCampaigns+"/:id/limits":
			typed.Into(s.SetLimits)
		default:
			typed.Into(s.When)
		}
		s.Notices = append(s.Notices, typed.Other...)
	}
	s.Speeds, s.Rows = table(&progress)
	s.Outside = outside(progress.Outside)
	if err := d.skipped(ctx, &p, sc, &r, &s); err != nil {
		return err
	}
	f := shotFilter{scope: sc, specimens: specimensOf(&r)}
	s.Limits, s.Criteria = present.CampaignLimits(&r.Campaign), present.CriteriaRows(&r.Campaign)
	recent, err := d.list(ctx, &f, false, view.Page{Limit: 10})
	if err != nil {
		return err
	}
	for i := range recent.Rows {
		row, err := present.ListRow(ctx, d.Views, p.Scope, &recent.Rows[i], d.zone)
		if err != nil {
			return err
		}
		s.RecentShots = append(s.RecentShots, row)
	}
	return httpkit.Page(c, status, s)
}

// outside says which shots no cell of the plan counts, and why.
func outside(all []view.Outside) []page.OutsideRow {
	var out []page.OutsideRow
	for i := range all {
		o := &all[i]
		r := page.OutsideRow{Specimen: o.Specimen, Location: o.Location, Condition: o.Condition, Shots: small(o.N), Why: string(o.Why)}
		if o.TargetSpeedMS != nil {
			r.Target = speedText(*o.TargetSpeedMS)
		}
		r.Href = page.PathShots + "?" + url.Values{"specimen": {o.Specimen}}.Encode()
		out = append(out, r)
	}
	return out
}

func speedText(v float64) string { return page.Show(v, "m/s").Text + "\u00a0m/s" }

// tolerance gives the tolerances of the cells in words.
func tolerance(cells []lab.Cell) string {
	var all []string
	for _, x := range cells {
		text := "not judged"
		if x.ToleranceMS > 0 {
			text = "±\u00a0" + speedText(x.ToleranceMS)
		}
		if !slices.Contains(all, text) {
			all = append(all, text)
		}
	}
	return strings.Join(all, " or ")
}

func conditions(cells []lab.Cell) []string {
	var all []string
	for _, x := range cells {
		if x.Condition != "" && !slices.Contains(all, x.Condition) {
			all = append(all, x.Condition)
		}
	}
	return all
}

// table lays the cells out: a line for each specimen, location and condition, a
// column for each target speed.
func table(p *view.Progress) (heads []string, rows []page.CellRow) {
	var speeds []uint32
	for _, x := range p.Campaign.Campaign.Cells {
		if v := lab.MillimetresPerSecond(x.TargetSpeedMS); !slices.Contains(speeds, v) {
			speeds = append(speeds, v)
		}
	}
	slices.Sort(speeds)
	for _, v := range speeds {
		heads = append(heads, speedText(float64(v)/1000))
	}
	at := map[string]int{}
	for i := range p.Cells {
		x := &p.Cells[i]
		key := strings.Join([]string{x.Specimen, lab.Fold(x.Cell.Location), lab.Fold(x.Cell.Condition)}, "\x00")
		n, known := at[key]
		if !known {
			n = len(rows)
			at[key] = n
			rows = append(rows, page.CellRow{Specimen: x.Specimen, Location: x.Cell.Location, Condition: x.Cell.Condition, Cells: make([]page.Cell, len(speeds))})
		}
		col := slices.Index(speeds, lab.MillimetresPerSecond(x.Cell.TargetSpeedMS))
		rows[n].Cells[col] = page.Cell{Done: small(x.Done), Planned: small(x.Planned), Rejected: small(x.OffSpeed + x.Void),
			Href: page.PathShots + "?" + url.Values{"campaign": {p.Campaign.ID.String()}, "specimen": {x.Specimen}}.Encode()}
	}
	return heads, rows
}

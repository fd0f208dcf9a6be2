package desk

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// ofCampaign gives the campaign of the address and its lab.
func (d *Desk) ofCampaign(c echo.Context, p *caller) (r view.CampaignRow, in roster.Place, err error) {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return r, in, notFound("campaign")
	}
	ctx := c.Request().Context()
	if r, err = d.Views.Campaign(ctx, p.Scope, id); err != nil {
		return r, in, err
	}
	text, err := d.realLab(ctx, p, r.Lab)
	if err != nil {
		return r, in, err
	}
	in, err = d.Roster.Find(ctx, p.Scope, text)
	return r, in, err
}

// when shows where and when a campaign is to be fired, and offers to change it.
func (d *Desk) when(ctx context.Context, p *caller, in roster.Place, r *view.CampaignRow, s *page.Campaign) error {
	b := &r.Campaign
	rigs, err := d.rigNames(ctx, in.Scope)
	if err != nil {
		return err
	}
	if b.Rig != nil {
		s.Rig = rigName(rigs, *b.Rig)
	}
	s.Days = daysOf(b)
	s.Unsettled = whenUnsettled(r, func(id uuid.UUID) string { return rigName(rigs, id) })
	if !p.MayKeep(in.ID) {
		return nil
	}
	choices, err := d.rigChoices(ctx, in, "")
	if err != nil {
		return err
	}
	f := httpkit.Blank(page.CampaignWhenFields(), page.CampaignWhenPath(s.ID), "when", "Set rig and days")
	f.Choices = map[string][]page.Choice{"rig": append([]page.Choice{{Value: "", Text: "not said"}}, choices...)}
	f.Values, f.Hidden = map[string]string{}, map[string]string{page.SeenField: seenWhen(&r.Head)}
	if b.Rig != nil {
		f.Values["rig"] = b.Rig.String()
	}
	if b.EndsAt != 0 {
		first, last := b.Days()
		f.Values["starts_on"], f.Values["ends_on"] = first.String(), last.String()
	}
	s.When, s.SetLimits = &f, limitsForm(r)
	return nil
}

// daysOf says on which days a campaign is to be fired; "" when nobody said.
func daysOf(b *lab.Campaign) string {
	if b.EndsAt == 0 {
		return ""
	}
	first, last := b.Days()
	return first.String() + " to " + last.String()
}

// whenUnsettled says what two sites set without sight of each other.
func whenUnsettled(r *view.CampaignRow, rig func(uuid.UUID) string) string {
	day := func(v any, last bool) string {
		ms, ok := whole64(v)
		if !ok || ms == 0 {
			return "none"
		}
		if _, day := lab.DaysOf(lab.Time(ms), lab.Time(ms), true); last {
			return day.String()
		}
		return lab.DayFrom(lab.Time(ms)).String()
	}
	var out []string
	for _, x := range []struct {
		field, label string
		text         func(any) string
	}{
		{"rig", "rig", func(v any) string {
			if id, ok := idOf(v); ok {
				return rig(id)
			}
			return "none"
		}},
		{"starts_at", "first day", func(v any) string { return day(v, false) }},
		{"ends_at", "last day", func(v any) string { return day(v, true) }},
	} {
		e := r.Edited[x.field]
		if len(e.Others) == 0 {
			continue
		}
		all := []string{x.text(e.Value)}
		for i := range e.Others {
			all = append(all, x.text(e.Others[i].Value))
		}
		slices.Sort(all)
		out = append(out, x.label+" "+strings.Join(slices.Compact(all), " and "))
	}
	return strings.Join(out, "; ")
}

// whole64 reads a whole number as CBOR gives it.
func whole64(v any) (int64, bool) {
	switch n := v.(type) {
	case uint64:
		return int64(n), true
	case int64:
		return n, true
	}
	return 0, false
}

// idOf reads an id as CBOR gives it.
func idOf(v any) (uuid.UUID, bool) {
	var id uuid.UUID
	var err error
	switch x := v.(type) {
	case []byte:
		id, err = uuid.FromBytes(x)
	case string:
		id, err = uuid.Parse(x)
	default:
		return id, false
	}
	return id, err == nil
}

func (d *Desk) postCampaignWhen(c echo.Context) error {
	return d.aboutCampaign(c, page.CampaignWhenFields(), "when", func(ctx context.Context, p *caller, r *view.CampaignRow, in roster.Place, f *httpkit.Filled) error {
		next := register.When{}
		next.StartsAt, next.EndsAt = span(f, d.Now().In(d.zone))
		if id, err := uuid.Parse(f.Values["rig"]); err == nil {
			next.Rig = &id
		}
		if !f.OK() {
			return nil
		}
		rig := "not said"
		if at := r.Campaign.Rig; at != nil {
			rigs, err := d.rigNames(ctx, in.Scope)
			if err != nil {
				return err
			}
			rig = rigName(rigs, *at)
		}
		still := stillWhen(c.FormValue(page.SeenField), map[string]string{"rig": rig, "starts_on": cmp.Or(daysOf(&r.Campaign), "not said")})
		return d.Register.PlanCampaign(ctx, p.Principal, in, r.ID, next, still)
	})
}

// aboutCampaign runs a form on the screen of a campaign, for those who keep its lab.
func (d *Desk) aboutCampaign(c echo.Context, fields []page.Field, what string, do func(context.Context, *caller, *view.CampaignRow, roster.Place, *httpkit.Filled) error) error {
	return d.post(c, fields, func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		r, in, err := d.ofCampaign(c, &p)
		if err != nil {
			return "", err
		}
		if err := register.MayKeep(p.Principal, in.ID); err != nil {
			return "", err
		}
		return done(page.CampaignPath(r.ID.String()), what), do(ctx, &p, &r, in, f)
	}, d.campaignPage)
}

// span reads the first and the last day of a campaign: to the end of that day.
func span(f *httpkit.Filled, now time.Time) (from, to lab.Time) {
	a, first := f.Day("starts_on", now)
	b, last := f.Day("ends_on", now)
	zone := now.Location()
	switch {
	case !first && !last:
		return 0, 0
	case !first:
		f.Fault("starts_on", "Give the first day too, or leave both empty.")
	case !last:
		f.Fault("ends_on", "Give the last day too, or leave both empty.")
	case b.In(zone).Before(a.In(zone)):
		f.Fault("ends_on", "The last day is before the first. Exchange them.")
	}
	return a.StartOf(zone), b.EndOf(zone) + 1
}

func (d *Desk) campaign(c echo.Context) error { return d.campaignPage(c, nil, http.StatusOK) }

// planChanged says that hits of a campaign were recorded under another plan.
func (d *Desk) planChanged(ctx context.Context, own scope.Scope, r *view.CampaignRow, s *page.Campaign) error {
	c, err := d.Views.PlanChanged(ctx, own, r.ID)
	if err != nil || c == nil {
		return err
	}
	s.Notices = append(s.Notices, present.PlanChanged(c, d.zone))
	return nil
}

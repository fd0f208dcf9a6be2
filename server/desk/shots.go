package desk

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

const rowsPerPage = 50

// shotFilter is what the list is narrowed to.
type shotFilter struct {
	page.ShotFilter
	scope     scope.Scope
	seen      scope.Scope // all that the caller may see: equipment may be another lab's
	specimens []string    // of the campaign; nil: any
	total     int64       // shots without filter by campaign or specimen
}

// filter reads the filter of the address and what can be chosen.
func (d *Desk) filter(c echo.Context, p *caller) (shotFilter, error) {
	ctx := c.Request().Context()
	f := shotFilter{scope: p.Scope, seen: p.Scope, ShotFilter: page.ShotFilter{Lab: c.QueryParam("lab"), Campaign: c.QueryParam("campaign"), Specimen: c.QueryParam("specimen")}}
	if labs := p.names.All(); len(labs) > 1 {
		f.Labs = choices(labs)
	}
	if f.Lab != "" {
		in, err := d.place(ctx, p, f.Lab)
		if err != nil {
			return f, err
		}
		f.scope = in.Scope
	}
	for _, l := range p.names.All() {
		if f.scope.Allows(l.ID) {
			f.total += l.Shots
		}
	}
	err := every(ctx, func(q view.Page) (view.List[view.CampaignRow], error) { return d.Views.Campaigns(ctx, f.scope, q) }, func(r *view.CampaignRow) error {
		text := r.Campaign.Name
		if len(f.Labs) > 0 && f.Lab == "" { // two labs may have campaigns of one name
			in, err := p.names.Of(ctx, r.Lab)
			if err != nil {
				return err
			}
			text += " (" + in + ")"
		}
		f.Campaigns = append(f.Campaigns, page.Choice{Value: r.ID.String(), Text: text})
		return nil
	})
	if err != nil || f.Campaign == "" {
		return f, err
	}
	return f, d.filterCampaign(ctx, p, &f)
}

// filterCampaign narrows to the specimens of a campaign, in its own lab.
func (d *Desk) filterCampaign(ctx context.Context, p *caller, f *shotFilter) error {
	id, err := uuid.Parse(f.Campaign)
	if err != nil {
		return notFound("campaign")
	}
	k, err := d.Views.Campaign(ctx, f.scope, id)
	if err != nil {
		return err
	}
	sc, err := d.labScope(ctx, p, k.Lab)
	if err != nil {
		return err
	}
	f.scope = sc
	f.specimens = specimensOf(&k)
	return nil
}

// specimensOf lists the specimens of a campaign; not nil where it has none.
func specimensOf(k *view.CampaignRow) []string { return append([]string{}, k.Campaign.Specimens...) }

// list reads a part of the list in the direction of the view's filter.
func (d *Desk) list(ctx context.Context, f *shotFilter, oldest bool, q view.Page) (view.List[view.ShotRow], error) {
	return d.Views.Shots(ctx, f.scope, view.ShotFilter{Specimen: f.Specimen, Specimens: f.specimens, Oldest: oldest}, q)
}

// shots is the list, newest first. A part is named by where it begins or ends,
// so that a link shows the same shots when new ones have come.
func (d *Desk) shots(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	f, err := d.filter(c, &p)
	if err != nil {
		return err
	}
	s := page.Shots{Frame: d.frame(&p, "Shots", page.PathShots), Filter: f.ShotFilter, Total: present.Count(f.total, "shot", "shots")}
	if f.Campaign != "" || f.Specimen != "" {
		s.Total = "Shots that fit the filter"
	}
	at, _ := strconv.Atoi(c.QueryParam("at")) // of no weight: only the count that is shown
	if err := d.part(ctx, &f, &s, c.QueryParam("after"), c.QueryParam("before"), max(at, 1)); err != nil {
		return err
	}
	if err := d.nameLabs(ctx, &p, &f, &s); err != nil {
		return err
	}
	return httpkit.Page(c, http.StatusOK, s)
}

// part fills one part of the list: what is older than after, or what is newer
// than before.
func (d *Desk) part(ctx context.Context, f *shotFilter, s *page.Shots, after, before string, at int) error {
	back := before != ""
	q := view.Page{Limit: rowsPerPage, After: after}
	if back {
		q.After = before
	}
	list, err := d.list(ctx, f, back, q)
	if err != nil {
		return err
	}
	// The place of the first row that was read: where the other direction begins.
	first, err := d.list(ctx, f, back, view.Page{Limit: 1, After: q.After})
	if err != nil {
		return err
	}
	if back {
		slices.Reverse(list.Rows)
	}
	for i := range list.Rows {
		row, err := present.ListRow(ctx, d.Views, f.seen, &list.Rows[i], d.zone)
		if err != nil {
			return err
		}
		row.Lab = list.Rows[i].Lab.String() // named below
		s.Rows = append(s.Rows, row)
	}
	s.From, s.To = at, at+len(s.Rows)-1
	switch {
	case back:
		s.Older = f.link("after", first.Next, s.To+1)
		if list.Next != "" {
			s.Newer = f.link("before", list.Next, max(1, at-rowsPerPage))
		}
	default:
		if list.Next != "" {
			s.Older = f.link("after", list.Next, s.To+1)
		}
		if after != "" {
			s.Newer = f.link("before", first.Next, max(1, at-rowsPerPage))
		}
	}
	return nil
}

// link leads to another part of the list; without a place, to its beginning.
func (f *shotFilter) link(which, place string, at int) string {
	q := url.Values{}
	for k, v := range map[string]string{"lab": f.Lab, "campaign": f.Campaign, "specimen": f.Specimen, which: place} {
		if v != "" {
			q.Set(k, v)
		}
	}
	if place != "" && at > 1 {
		q.Set("at", strconv.Itoa(at))
	}
	if len(q) == 0 {
		return page.PathShots
	}
	return page.PathShots + "?" + q.Encode()
}

// nameLabs puts the lab's name on each row where there are several labs.
func (d *Desk) nameLabs(ctx context.Context, p *caller, f *shotFilter, s *page.Shots) error {
	several := len(p.names.All()) > 1 && f.Lab == ""
	for i := range s.Rows {
		id, err := uuid.Parse(s.Rows[i].Lab)
		s.Rows[i].Lab = ""
		if err != nil || !several {
			continue
		}
		if s.Rows[i].Lab, err = p.names.Of(ctx, id); err != nil {
			return err
		}
	}
	return nil
}

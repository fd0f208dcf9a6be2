package desk

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/server/enrol"
	"thudbook/server/roster"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// refreshSeconds is how often screens of what changes by itself ask again.
const (
	refreshSeconds  = 2
	overviewSeconds = 5
)

func (d *Desk) overview(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.ServerOverview{Frame: d.frame(&p, "Overview", page.PathHome), Administrator: p.Administrator}
	s.Refresh = overviewSeconds
	dues, err := d.dues(ctx, p.names, p.Scope)
	if err != nil {
		return err
	}
	for _, x := range dues {
		s.Overdue = append(s.Overdue, x.row)
	}
	agents, err := d.Agents.List(ctx, p.Scope)
	if err != nil {
		return err
	}
	if s.Agents, err = d.agentRows(ctx, &p, agents); err != nil {
		return err
	}
	if s.Fetched, err = d.fetchedWords(ctx, &p, p.Scope); err != nil {
		return err
	}
	s.Labs, err = d.labRows(ctx, &p, dues, agents)
	if err != nil {
		return err
	}
	return d.show(c, s)
}

func (d *Desk) labRows(ctx context.Context, p *caller, dues []due, agents []enrol.Status) ([]page.LabRow, error) {
	var out []page.LabRow
	for _, l := range p.names.All() {
		in, err := d.Roster.Find(ctx, p.Scope, l.ID.String())
		if err != nil {
			return nil, err
		}
		r := page.LabRow{ID: l.ID.String(), Name: l.Title(), Shots: page.ShowCount(l.Shots), ToAssign: int(min(l.ToAssign, math.MaxInt32))}
		for _, x := range dues {
			switch {
			case x.lab != l.ID:
			case x.row.State.Level == page.Bad:
				r.Overdue++
			default:
				r.DueSoon++
			}
		}
		for i := range agents {
			a := &agents[i]
			if a.Revoked.IsZero() && !a.Server() && slices.Contains(a.Labs, l.ID) {
				r.Agents++
			}
		}
		if r.LastShot, err = d.lastShot(ctx, in.Scope, view.ShotFilter{}); err != nil {
			return nil, err
		}
		n := 0
		err = every(ctx, func(q view.Page) (view.List[view.CampaignRow], error) { return d.Views.Campaigns(ctx, in.Scope, q) },
			func(*view.CampaignRow) error { n++; return nil })
		if err != nil {
			return nil, err
		}
		r.Campaigns = page.ShowCount(int64(n))
		out = append(out, r)
	}
	return out, nil
}

// lastShot gives when the newest shot was fired, zero when there is none.
func (d *Desk) lastShot(ctx context.Context, sc scope.Scope, f view.ShotFilter) (time.Time, error) {
	list, err := d.Views.Shots(ctx, sc, f, view.Page{Limit: 1})
	if err != nil || len(list.Rows) == 0 {
		return time.Time{}, err
	}
	return list.Rows[0].Shot.EffectiveAt.Time().In(d.zone), nil
}

// silentAfter is how long an agent may be silent before the list says so.
const silentAfter = 30 * time.Second

func (d *Desk) agentRows(ctx context.Context, p *caller, agents []enrol.Status) ([]page.AgentRow, error) {
	out := make([]page.AgentRow, 0, len(agents))
	for i := range agents {
		r, err := d.agentRow(ctx, p.names, &agents[i])
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

func (d *Desk) agentRow(ctx context.Context, names *roster.Names, s *enrol.Status) (page.AgentRow, error) {
	r := page.AgentRow{Name: s.Name, RecordsBehind: s.Behind, Version: s.Version(), Server: s.Server()}
	if key, err := d.Agents.Principal(ctx, s.Node); err == nil {
		r.Fingerprint = present.Fingerprint(key.Key)
	}
	var labs []string
	for _, id := range s.Labs {
		name, err := names.Of(ctx, id)
		if err != nil {
			return r, err
		}
		labs = append(labs, name)
	}
	r.Lab = strings.Join(labs, ", ")
	if s.Behind > 0 && s.PendingBytes > 0 {
		r.BytesBehind = page.ShowBytes(s.PendingBytes)
	}
	if !s.LastSeen.IsZero() {
		r.LastSeen = s.LastSeen.In(d.zone)
		r.ClockOffset, r.ClockState = clock(s.ClockOffset)
	}
	silent := d.Now().Sub(s.LastSeen)
	r.Silent = silent > silentAfter || !s.Revoked.IsZero()
	switch {
	case !s.Revoked.IsZero():
		r.State = page.Status{Level: page.Bad, Word: "withdrawn: " + s.RevokedWhy}
	case s.LastSeen.IsZero():
		r.State = page.Status{Level: page.Plain, Word: "enrolled, not heard of yet"}
	case silent > silentAfter:
		r.State = page.Status{Level: page.Warn, Word: "silent for " + page.ShowAge(silent)}
	case s.Behind > 0:
		r.State = page.Status{Level: page.Warn, Word: "catching up"}
	default:
		r.State = page.Status{Level: page.OK, Word: "connected"}
	}
	return r, nil
}

// clock says how far an agent's clock is off; it orders records and dates
// shots that say no time themselves.
func clock(off time.Duration) (string, page.Level) {
	way := "fast"
	if off < 0 {
		way = "slow"
	}
	size := off.Abs()
	level := page.OK
	switch {
	case size > 10*time.Minute:
		level = page.Bad
	case size > 30*time.Second:
		level = page.Warn
	}
	if size < time.Minute {
		return seconds(off), level
	}
	return page.ShowAge(size) + " " + way, level
}

// seconds shows a small offset with its sign: a true minus, and none before a zero.
func seconds(off time.Duration) string {
	tenths := (off + 50*time.Millisecond).Truncate(100 * time.Millisecond)
	if off < 0 {
		tenths = (off - 50*time.Millisecond).Truncate(100 * time.Millisecond)
	}
	switch s := fmt.Sprintf("%.1f\u00a0s", tenths.Abs().Seconds()); {
	case tenths == 0:
		return s
	case tenths < 0:
		return "\u2212" + s
	default:
		return "+" + s
	}
}

func (d *Desk) licences(c echo.Context) error {
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Licences{Frame: d.frame(&p, "Licences", page.PathLicences)}
	for _, l := range web.Assets().Licences() {
		s.Items = append(s.Items, page.Licence{Name: l.Name, Text: l.Text})
	}
	return httpkit.Page(c, http.StatusOK, s)
}

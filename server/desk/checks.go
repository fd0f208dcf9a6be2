package desk

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// checks shows the system checks of one rig of the caller's labs.
func (d *Desk) checks(c echo.Context) error {
	return d.checksPage(c, c.QueryParam("rig"), nil, http.StatusOK)
}

func (d *Desk) checksPage(c echo.Context, rig string, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Check{Frame: d.frame(&p, "System checks", page.PathChecks), Path: page.PathChecks}
	said(c, &s.Frame, map[string]string{"limits": "The limits are set. Earlier checks are judged by those that held at their time."})
	rows := map[string]*view.RigRow{}
	for _, l := range p.names.All() {
		in, err := d.Roster.Find(ctx, p.Scope, l.ID.String())
		if err != nil {
			return err
		}
		here, err := d.rigRows(ctx, in.Scope)
		if err != nil {
			return err
		}
		for _, r := range here {
			rows[r.ID.String()] = r
			s.Rigs = append(s.Rigs, page.Choice{Value: r.ID.String(), Text: r.Rig.Name + ", " + l.Title()})
		}
	}
	if len(s.Rigs) == 0 {
		s.State = page.Status{Word: "no rig yet"}
		s.Reason = "A rig is listed once its agent has reached this server."
		return httpkit.Page(c, status, s)
	}
	r := rows[cmp.Or(rig, s.Rigs[0].Value)]
	if r == nil {
		return notFound("rig")
	}
	s.Rig = r.ID.String()
	sc, err := d.labScope(ctx, &p, r.Lab)
	if err != nil {
		return err
	}
	k := present.Checks{Read: d.Views, Scope: sc, Rig: r.ID, Now: d.Now().In(d.zone)}
	if err := k.Fill(ctx, &s, c.QueryParam("pad"), c.QueryParam("series")); err != nil {
		return err
	}
	in, err := d.realLab(ctx, &p, r.Lab)
	if err != nil {
		return err
	}
	if id, err := uuid.Parse(in); err != nil || !p.MayKeep(id) {
		return httpkit.Page(c, status, s)
	}
	s.Set = httpkit.Blank(page.CheckLimitsFields(), page.PostCheckLimits, "limits", "Set these limits")
	s.Set.Hidden = map[string]string{"rig": s.Rig}
	s.Set.Values = map[string]string{"pad": s.Pad, "setup": s.SeriesKey, "effective_at": d.Now().In(d.zone).Format("2006-01-02T15:04:05")}
	s.Set.Choices = map[string][]page.Choice{"pad": s.Pads, "setup": append(slices.Clone(s.Series), page.Choice{Text: "every setup on this pad"})}
	if typed != nil {
		typed.Into(&s.Set)
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

// limitFields are the fields of each result in the form.
func limitFields() map[string]string {
	return map[string]string{lab.CheckPeak: "peak", lab.CheckHIC: "hic", lab.CheckPeakPerSpeed: "per_speed"}
}

// limitedSetup reads for which setup limits are; none that is chosen is every one.
func (d *Desk) limitedSetup(ctx context.Context, c echo.Context, f *httpkit.Filled, b *lab.CheckLimits) error {
	want := f.Values["setup"]
	if want == "" {
		return nil
	}
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	k := present.Checks{Read: d.Views, Scope: p.Scope, Rig: b.Rig, Now: d.Now().In(d.zone)}
	setup, err := k.SetupOf(ctx, b.Pad, want)
	if setup == nil {
		f.Fault("setup", "No check on this pad was fired with it. Choose one of the list, or every setup.")
		return err
	}
	b.Setup = setup.Stated()
	return err
}

func (d *Desk) postCheckLimits(c echo.Context) error {
	fields := append(page.CheckLimitsFields(), page.Field{Name: "rig", Kind: "hidden", Required: true})
	return d.post(c, fields, func(ctx context.Context, f *httpkit.Filled) (string, error) {
		rig, in, err := d.labOfRig(ctx, c, f)
		if err != nil {
			return "", err
		}
		b := &lab.CheckLimits{Rig: rig, Pad: f.Values["pad"], Anew: f.Values["anew"] != "", Reason: f.Values["reason"], EffectiveAt: d.past(f, "effective_at")}
		for _, r := range lab.CheckResults() {
			name := limitFields()[r.Name]
			l := lab.CheckLimit{Result: r.Name, Source: f.Values["source"], Least: f.Number(name + "_least"), Most: f.Number(name + "_most")}
			for end, v := range map[string]*float64{"_least": l.Least, "_most": l.Most} {
				if v != nil && *v < 0 {
					f.Fault(name+end, "%g is below zero, which no result of a check is. Check the number.", *v)
				}
			}
			if l.Least != nil && l.Most != nil && *l.Least >= *l.Most {
				f.Fault(name+"_most", "The most, %g, is not above the least, %g. Exchange them.", *l.Most, *l.Least)
			}
			if l.Least != nil || l.Most != nil {
				b.Limits = append(b.Limits, l)
			}
		}
		if err := d.limitedSetup(ctx, c, f, b); err != nil {
			return "", err
		}
		if b.Anew && b.Reason == "" {
			f.Fault("reason", "Say what was changed, so that earlier checks match no more.")
		}
		if !f.OK() {
			return "", nil
		}
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		var at roster.Place
		if at, err = d.place(ctx, &p, in); err != nil {
			return "", err
		}
		_, err = d.Register.Record(ctx, p.Principal, at, b)
		return page.PathChecks + "?" + url.Values{"rig": {rig.String()}, "pad": {b.Pad}, "done": {"limits"}}.Encode(), err
	}, func(c echo.Context, f *httpkit.Filled, status int) error {
		rig := f.Values["rig"]
		if fault := f.Errors["rig"]; fault != "" { // the field is not on the screen
			rig = ""
			f.Other = append(f.Other, page.Notice{Level: page.Bad, Text: "Not saved: " + fault})
			delete(f.Errors, "rig")
		}
		return d.checksPage(c, rig, f, status)
	})
}

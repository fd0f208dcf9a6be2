package desk

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/roster"
	"thudbook/server/tell"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// Digest sums up a day of a lab, for tell.Source.
func (d *Desk) Digest(ctx context.Context, id record.LabID, day time.Time) (*tell.Digest, error) {
	in, names, err := d.placeOf(ctx, id)
	if err != nil {
		return nil, err
	}
	return d.digestOf(ctx, in, names, day)
}

// digester gathers the digest of one day.
type digester struct {
	d     *Desk
	sc    scope.Scope
	ids   []record.LabID // of the lab
	from  time.Time
	to    time.Time
	names *roster.Names
	out   tell.Digest
}

func (d *Desk) digestOf(ctx context.Context, in roster.Place, names *roster.Names, day time.Time) (*tell.Digest, error) {
	g := &digester{d: d, sc: in.Scope, ids: in.IDs, from: day, to: day.AddDate(0, 0, 1), names: names}
	g.out.Path = page.PathDigest + "?" + url.Values{"lab": {in.ID.String()}, "day": {day.Format(time.DateOnly)}}.Encode()
	for _, part := range []func(context.Context) error{g.fired, g.changed, g.wrong, g.booked} {
		if err := part(ctx); err != nil {
			return nil, err
		}
	}
	return &g.out, nil
}

func (g *digester) section(head string, lines []string) {
	if len(lines) > 0 {
		g.out.Sections = append(g.out.Sections, tell.Section{Head: head, Lines: lines})
	}
}

// fired counts the strokes of the day by rig, the campaigns that they belong to,
// and what was flagged.
func (g *digester) fired(ctx context.Context) error {
	byRig, flags, specimens := map[uuid.UUID]*firedCount{}, map[string]int64{}, map[string]bool{}
	f := view.ShotFilter{From: lab.At(g.from), To: lab.At(g.to), Oldest: true}
	err := every(ctx, func(p view.Page) (view.List[view.ShotRow], error) { return g.d.Views.Shots(ctx, g.sc, f, p) }, func(r *view.ShotRow) error {
		if r.Shot.Kind == lab.ShotSecondFile { // no stroke
			return nil
		}
		c := byRig[r.Shot.Rig]
		if c == nil {
			c = &firedCount{}
			byRig[r.Shot.Rig] = c
		}
		switch {
		case r.Shot.Kind == lab.ShotDry:
			c.dry++
		case r.Shot.Kind == lab.ShotSystemCheck:
			c.checks++
		case r.Void():
			c.void++
		default:
			c.shots++
		}
		codes, err := g.d.codesOf(ctx, g.sc, r)
		if err != nil {
			return err
		}
		for _, code := range codes {
			flags[code]++
		}
		specimens[lab.Fold(r.Shot.Specimen)] = true
		return nil
	})
	if err != nil {
		return err
	}
	rigs, err := g.d.rigNames(ctx, g.sc)
	if err != nil {
		return err
	}
	for id := range rigs {
		day := present.Day{Read: g.d.Views, Scope: g.sc, Rig: id, From: g.from}
		n, err := day.WithoutFile(ctx)
		if err != nil {
			return err
		}
		if byRig[id] == nil && n > 0 {
			byRig[id] = &firedCount{}
		}
		if n > 0 {
			byRig[id].bare = n
		}
	}
	var lines []string
	for id, c := range byRig {
		lines = append(lines, rigName(rigs, id)+": "+c.words())
	}
	slices.Sort(lines)
	g.section("Fired", lines)
	if err := g.campaigns(ctx, specimens); err != nil {
		return err
	}
	lines = nil
	for _, code := range slices.SortedFunc(maps.Keys(flags), func(a, b string) int { return cmp.Or(-cmp.Compare(flags[a], flags[b]), cmp.Compare(a, b)) }) {
		lines = append(lines, strings.ReplaceAll(code, "_", " ")+": "+present.Count(flags[code], "stroke", "strokes"))
	}
	g.section("Flags of the day", lines)
	return nil
}

// campaigns says how far the campaigns are that were worked on.
func (g *digester) campaigns(ctx context.Context, specimens map[string]bool) error {
	var lines []string
	err := every(ctx, func(p view.Page) (view.List[view.CampaignRow], error) { return g.d.Views.Campaigns(ctx, g.sc, p) }, func(k *view.CampaignRow) error {
		if !slices.ContainsFunc(k.Campaign.Specimens, func(s string) bool { return specimens[lab.Fold(s)] }) {
			return nil
		}
		p, err := g.d.Views.CampaignProgress(ctx, g.sc, k.ID, g.ids...)
		if err == nil {
			lines = append(lines, fmt.Sprintf("%s: %s of %s done", k.Campaign.Name, page.ShowCount(p.Total.Done), present.Count(p.Total.Planned, "planned shot", "planned shots")))
		}
		return err
	})
	slices.Sort(lines)
	g.section("Campaigns, as they stand now", lines)
	return err
}

// mostLines bounds one section.
const mostLines = 40

// changed lists what was written down that day about equipment and plan.
func (g *digester) changed(ctx context.Context) error {
	var lines []string
	add := func(h *view.Head, text string) {
		if !h.RecordedAt.Before(g.from) && h.RecordedAt.Before(g.to) && h.Withdrawn == nil {
			lines = append(lines, text)
		}
	}
	late := func(t lab.Time) string {
		if t.Time().Before(g.from.AddDate(0, 0, -1)) {
			return ", entered late for " + present.DayOf(t, g.from.Location())
		}
		return ""
	}
	lateDay := func(k *lab.Calibration) string {
		on, _ := k.Days()
		return late(on.StartOf(g.from.Location()))
	}
	err := every(ctx, func(p view.Page) (view.List[view.ItemRow], error) { return g.d.Views.Items(ctx, g.sc, "", p) }, func(i *view.ItemRow) error {
		title := i.Item.Title()
		add(&i.Head, title+" came into the register")
		states, err := g.d.Views.States(ctx, g.sc, i.ID)
		for j := range states {
			add(&states[j].Head, title+": "+states[j].ItemState.State+late(states[j].ItemState.EffectiveAt))
		}
		if err != nil {
			return err
		}
		services, err := g.d.Views.Services(ctx, g.sc, i.ID)
		for j := range services {
			add(&services[j].Head, title+": service"+late(services[j].Service.EffectiveAt))
		}
		if err != nil {
			return err
		}
		calibrations, err := g.d.Views.Calibrations(ctx, g.sc, i.ID)
		for j := range calibrations {
			add(&calibrations[j].Head, title+": certificate "+calibrations[j].Calibration.Certificate+lateDay(&calibrations[j].Calibration))
		}
		if err != nil {
			return err
		}
		mountings, err := g.d.Views.Mountings(ctx, g.sc, i.ID)
		for j := range mountings {
			add(&mountings[j].Head, title+": mounted at position "+mountings[j].Mounting.Position+present.AlsoThere(&mountings[j].Mounting)+late(mountings[j].Mounting.EffectiveAt))
		}
		return err
	})
	if err != nil {
		return err
	}
	err = every(ctx, func(p view.Page) (view.List[view.CampaignRow], error) { return g.d.Views.Campaigns(ctx, g.sc, p) }, func(k *view.CampaignRow) error {
		add(&k.Head, "campaign "+k.Campaign.Name+" was planned")
		return nil
	})
	slices.Sort(lines)
	g.section("Written down", most(lines, "the log"))
	return err
}

// wrong lists what looked wrong at the end of the day, and what will be due.
func (g *digester) wrong(ctx context.Context) error {
	at := g.to
	if now := g.d.Now(); at.After(now) {
		at = now
	}
	v, err := g.d.surveyAt(ctx, g.names, g.sc, at)
	if err != nil {
		return err
	}
	var bad, soon []string
	for i := range v.rows {
		line := v.rows[i].Item + ": " + v.rows[i].State.Word
		if v.rows[i].State.Level == page.Bad {
			bad = append(bad, line)
		} else {
			soon = append(soon, line)
		}
	}
	alarms, err := g.d.Agents.Alarms(ctx, g.sc)
	for i := range alarms {
		if a := &alarms[i]; !a.At().Before(g.from) && a.At().Before(g.to) {
			bad = append(bad, "alarm: "+a.Text)
		}
	}
	g.section("Looks wrong", bad)
	g.section("Due soon", soon)
	return err
}

// digest shows the digest of a day.
func (d *Desk) digest(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	today := d.Now().In(d.zone)
	s := page.Digest{Frame: d.frame(&p, "Digest of a day", page.PathHealth), Lab: c.QueryParam("lab"), Day: cmp.Or(c.QueryParam("day"), today.Format(time.DateOnly)), Today: today.Format(time.DateOnly)}
	labs := p.names.All()
	if len(labs) > 1 {
		s.Labs = choices(labs)
	}
	day, err := time.ParseInLocation(time.DateOnly, s.Day, d.zone)
	if err != nil || day.Year() < 1970 || day.After(today) {
		s.Bad = "“" + s.Day + "” is not a day that can be summed up. Give a date up to today, as " + s.Today + "."
		return httpkit.Page(c, http.StatusUnprocessableEntity, s)
	}
	s.Earlier = day.AddDate(0, 0, -1).Format(time.DateOnly)
	if next := day.AddDate(0, 0, 1); !next.After(today) {
		s.Later = next.Format(time.DateOnly)
	}
	if s.Lab == "" && len(labs) > 0 {
		s.Lab = labs[0].ID.String()
	}
	if s.Lab == "" {
		return d.show(c, s)
	}
	in, err := d.place(ctx, &p, s.Lab)
	if err != nil {
		return err
	}
	g, err := d.digestOf(ctx, in, p.names, day)
	if err != nil {
		return err
	}
	for _, x := range g.Sections {
		s.Sections = append(s.Sections, page.DigestSection{Head: x.Head, Lines: x.Lines})
	}
	return d.show(c, s)
}

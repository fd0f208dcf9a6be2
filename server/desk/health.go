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

	"thudbook/server/roster"
	"thudbook/server/tell"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// fallsDue is one date of an item.
type fallsDue struct {
	lab        string
	item       uuid.UUID
	title      string
	what       string // "calibration", "service"
	on         lab.Time
	day        lab.Date // of a calibration
	period     string   // of a forecast
	state      page.Status
	class      string
	strokes    int64 // since service
	planned    bool
	calibrated bool
}

// survey looks at every item of a scope once.
type survey struct {
	d     *Desk
	sc    scope.Scope
	names *roster.Names
	rigs  map[uuid.UUID]string
	now   time.Time
	homes *homes
	watch *upkeep.Watch
	items int
	rows  []page.HealthRow
	facts []tell.Fact // the same as rows
	due   []fallsDue
}

func (d *Desk) survey(ctx context.Context, names *roster.Names, sc scope.Scope) (*survey, error) {
	return d.surveyAt(ctx, names, sc, d.Now())
}

// surveyAt is survey as things stood at another time.
func (d *Desk) surveyAt(ctx context.Context, names *roster.Names, sc scope.Scope, now time.Time) (*survey, error) {
	rigs, err := d.rigNames(ctx, sc)
	if err != nil {
		return nil, err
	}
	v := &survey{d: d, sc: sc, names: names, rigs: rigs, now: now, homes: d.homes(names, sc), watch: &upkeep.Watch{Read: d.Views, Scope: sc, Now: now.In(d.zone)}}
	err = every(ctx, func(q view.Page) (view.List[view.ItemRow], error) { return d.Views.Items(ctx, sc, "", q) },
		func(i *view.ItemRow) error { return v.look(ctx, i) })
	slices.SortStableFunc(v.rows, func(a, b page.HealthRow) int { return -cmp.Compare(a.State.Level, b.State.Level) })
	slices.SortStableFunc(v.due, func(a, b fallsDue) int { return a.in(d.zone).Compare(b.in(d.zone)) })
	return v, err
}

// look adds what an item needs, and when. A retired one needs nothing.
func (v *survey) look(ctx context.Context, i *view.ItemRow) error {
	also, err := v.homes.of(ctx, i.Lab)
	if err != nil {
		return err
	}
	l, err := present.Look(ctx, v.watch, i, also...)
	if err != nil || l.Retired() {
		return err
	}
	v.items++
	name, err := v.names.Of(ctx, i.Lab)
	if err != nil {
		return err
	}
	open, err := v.d.Views.OpenOrders(ctx, v.sc, i.ID)
	if err != nil {
		return err
	}
	for _, n := range l.Needs {
		v.facts = append(v.facts, tell.Fact{Key: n.Code + " " + i.ID.String() + " " + n.Since, Code: n.Code, Title: i.Item.Title() + ": " + n.State.Word, Text: n.Reason, Path: page.ItemUsePath(i.ID.String())})
		evidence := ""
		if n.Shot != uuid.Nil {
			evidence = page.ShotPath(n.Shot.String())
		}
		order, orderText := "", ""
		switch cause := whyNow(n.Code); {
		case cause == lab.OrderByHand: // no service mends it
		case len(open) > 0:
			order, orderText = page.OrderPath(open[0].ID.String()), "Work order "+present.OrderWord(&open[0], v.d.zone).Word
		default:
			order, orderText = page.NewOrderPath(i.ID.String(), cause), "Open a work order"
		}
		v.rows = append(v.rows, page.HealthRow{Evidence: evidence, Order: order, OrderText: orderText, Lab: name, Item: i.Item.Title(), Kind: i.Item.Class, Where: whereIs(&l.Use.Usage, v.rigs), Href: page.ItemUsePath(i.ID.String()), State: n.State, Reason: n.Reason})
	}
	due := fallsDue{lab: name, item: i.ID, title: i.Item.Title(), class: i.Item.Class, strokes: l.Use.StrokesSinceService}
	if l.Use.Planned() || len(l.Use.Causes) > 0 {
		due := due
		due.what, due.state, due.planned = "service", present.ServiceDue(&l.Use.ServiceDue, v.d.zone), true
		if due.on = l.Use.About; due.on != 0 {
			due.period = present.RangeOf(&l.Use.ServiceDue, v.d.zone)
		}
		if len(l.Use.Causes) > 0 && due.state.Level != page.Bad {
			due.state, _ = present.CauseWords(&l.Use.Causes[0], v.d.zone)
			due.on, due.period = l.Use.Causes[0].At, ""
		}
		v.due = append(v.due, due)
	}
	if k := l.Calibration.Calibration; k != nil {
		due.what, due.on, due.state, due.calibrated = "calibration", k.Calibration.DueAt, present.Calibration(&l.Calibration), true
		_, due.day = k.Calibration.Days()
		v.due = append(v.due, due)
	}
	return nil
}

// in is when it is due in a zone: a certificate has a day, everywhere the same.
func (x *fallsDue) in(zone *time.Location) time.Time {
	if x.calibrated {
		return x.day.In(zone)
	}
	return x.on.Time().In(zone)
}

// weeksAhead is how far the list by week looks.
const weeksAhead = 53

// weeks sorts what falls due into weeks, Monday to Sunday; what is over comes
// first, in one part.
func weeks(all []fallsDue, now time.Time) []page.DueWeek {
	year, month, day := now.Date()
	monday := time.Date(year, month, day-(int(now.Weekday())+6)%7, 0, 0, 0, 0, now.Location())
	var out []page.DueWeek
	for i := range all {
		x := &all[i]
		if x.on == 0 {
			continue
		}
		on := x.in(now.Location())
		from := monday
		past := on.Before(monday)
		if !past {
			n := int(on.Sub(monday).Hours()/24+0.05) / 7 // an hour of summer time is no day
			if n > weeksAhead {
				continue
			}
			from = monday.AddDate(0, 0, 7*n)
		}
		if len(out) == 0 || out[len(out)-1].Past != past || !past && !out[len(out)-1].From.Equal(from) {
			_, number := from.ISOWeek()
			out = append(out, page.DueWeek{From: from, To: from.AddDate(0, 0, 6), Number: number, Past: past})
		}
		w := &out[len(out)-1]
		w.Rows = append(w.Rows, page.DueDay{On: on, Lab: x.lab, Item: x.title, What: x.what, Range: x.period, Href: page.ItemUsePath(x.item.String())})
	}
	return out
}

// health shows what needs looking after in all labs of the caller.
func (d *Desk) health(c echo.Context) error { return d.healthPage(c, "", nil, http.StatusOK) }

func (d *Desk) healthPage(c echo.Context, link string, typed *httpkit.Filled, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	s := page.Health{Frame: d.frame(&p, "What is due", page.PathHealth), Lab: c.QueryParam("lab"), FeedURL: link}
	if labs := p.names.All(); len(labs) > 1 {
		s.Labs = choices(labs)
	}
	sc := p.Scope
	if s.Lab != "" {
		in, err := d.place(ctx, &p, s.Lab)
		if err != nil {
			return err
		}
		sc = in.Scope
	}
	v, err := d.survey(ctx, p.names, sc)
	if err != nil {
		return err
	}
	s.Items, s.Rows, s.Weeks = v.items, v.rows, weeks(v.due, v.now.In(d.zone))
	if p.names != nil && len(p.names.All()) == 1 {
		for i := range s.Rows {
			s.Rows[i].Lab = ""
		}
	}
	if len(p.keeps()) == 0 {
		for i := range s.Rows {
			if strings.HasPrefix(s.Rows[i].Order, page.PathNewOrder) {
				s.Rows[i].Order, s.Rows[i].OrderText = "", ""
			}
		}
	}
	agents, err := d.Agents.List(ctx, sc)
	if err != nil {
		return err
	}
	if s.Agents, err = d.agentRows(ctx, &p, agents); err != nil {
		return err
	}
	if s.Fetched, err = d.fetchedWords(ctx, &p, sc); err != nil {
		return err
	}
	s.Feed = httpkit.Blank(nil, page.PostFeed, "feed", "Make a new link")
	if s.FeedOn, err = d.Feeds.Since(ctx, p.ID); err != nil {
		return err
	}
	if typed != nil {
		s.Notices = append(s.Notices, typed.Other...)
	}
	return httpkit.Page(c, status, s)
}

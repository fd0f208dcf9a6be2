package desk

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// serviceDue says in words how an item stands against its service plan.
func serviceDue(s *view.ServiceDue, zone *time.Location) page.Status {
	switch {
	case !s.Planned():
		return page.Status{Level: page.Plain, Word: "no interval set"}
	case s.Due() && s.Left() == 0:
		return page.Status{Level: page.Bad, Word: "due now"}
	case s.Due():
		return page.Status{Level: page.Bad, Word: "overdue by " + present.Count(-s.Left(), "stroke", "strokes")}
	case s.IsDue():
		return page.Status{Level: page.Bad, Word: "overdue since " + dayOf(s.DueAt, zone)}
	}
	level := page.OK
	if s.IsNear() {
		level = page.Warn
	}
	if s.Interval == 0 {
		return page.Status{Level: level, Word: "due in " + daysLeft(s.DaysLeft) + ", on " + dayOf(s.DueAt, zone)}
	}
	word := "due in " + present.Count(s.Left(), "stroke", "strokes")
	if s.DueAt != 0 {
		word += " or " + daysLeft(s.DaysLeft)
	}
	if s.About != 0 {
		word += ", about " + dayOf(s.About, zone)
		if r := rangeOf(s, zone); r != "" {
			word += " (" + r + ")"
		}
	} else if s.WhyNot != "" {
		word += "; " + s.WhyNot
	}
	return page.Status{Level: level, Word: word}
}

func daysLeft(n int64) string {
	if n == 0 {
		return "less than a day"
	}
	return present.Count(n, "day", "days")
}

// rangeOf is the interval of a forecast in words, "" when it is one day.
func rangeOf(s *view.ServiceDue, zone *time.Location) string {
	a, b := dayOf(s.Early, zone), dayOf(s.Late, zone)
	if s.Early == 0 || a == b {
		return ""
	}
	return a + " to " + b
}

func dayOf(t lab.Time, zone *time.Location) string { return t.Time().In(zone).Format(time.DateOnly) }

// fallsDue is one date of an item.
type fallsDue struct {
	lab        string
	item       uuid.UUID
	title      string
	what       string // "calibration", "service"
	on         lab.Time
	period     string // of a forecast
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
	items int
	rows  []page.HealthRow
	due   []fallsDue
}

func (d *Desk) survey(ctx context.Context, names *roster.Names, sc scope.Scope) (*survey, error) {
	rigs, err := d.rigNames(ctx, sc)
	if err != nil {
		return nil, err
	}
	v := &survey{d: d, sc: sc, names: names, rigs: rigs, now: d.Now()}
	err = every(ctx, func(q view.Page) (view.List[view.ItemRow], error) { return d.Views.Items(ctx, sc, "", q) },
		func(i *view.ItemRow) error { return v.look(ctx, i) })
	slices.SortStableFunc(v.rows, func(a, b page.HealthRow) int { return -cmp.Compare(a.State.Level, b.State.Level) })
	slices.SortStableFunc(v.due, func(a, b fallsDue) int { return cmp.Compare(a.on, b.on) })
	return v, err
}

// look adds what an item needs, and when. A retired one needs nothing.
func (v *survey) look(ctx context.Context, i *view.ItemRow) error {
	u, err := v.d.Views.ServiceDue(ctx, v.sc, i.ID, v.now)
	if err != nil {
		return err
	}
	state := u.Stated.State()
	if state == lab.StateRetired {
		return nil
	}
	v.items++
	name, err := v.names.Of(ctx, i.Lab)
	if err != nil {
		return err
	}
	row := page.HealthRow{Lab: name, Item: i.Item.Title(), Kind: i.Item.Class, Where: whereIs(&u.Usage, v.rigs), Href: page.ItemUsePath(i.ID.String())}
	add := func(s page.Status, reason string) {
		r := row
		r.State, r.Reason = s, reason
		v.rows = append(v.rows, r)
	}
	due := fallsDue{lab: name, item: i.ID, title: i.Item.Title(), class: i.Item.Class, strokes: u.StrokesSinceService}
	switch {
	case state == lab.StateQuarantined && u.Rig != uuid.Nil:
		add(page.Status{Level: page.Bad, Word: "quarantined, and mounted"}, u.Stated.ItemState.Reason)
	case state == lab.StateAtCalibration && u.Rig != uuid.Nil:
		add(page.Status{Level: page.Bad, Word: "at calibration, and mounted"}, u.Stated.ItemState.Reason)
	case state == lab.StateQuarantined:
		add(page.Status{Level: page.Warn, Word: state}, u.Stated.ItemState.Reason)
	}
	if u.Planned() {
		s := serviceDue(&u, v.d.zone)
		due := due
		due.what, due.state, due.planned = "service", s, true
		if s.Level != page.OK {
			s.Word = "service " + s.Word
			add(s, planReason(&u, v.d.zone))
		}
		if due.on = u.About; due.on != 0 {
			due.period = rangeOf(&u, v.d.zone)
		}
		v.due = append(v.due, due)
	}
	return v.calibration(ctx, i, due, add)
}

func planReason(u *view.ServiceDue, zone *time.Location) string {
	text := ""
	if u.Interval > 0 {
		text = fmt.Sprintf("%s since the last service, every %s.", present.Count(u.StrokesSinceService, "stroke", "strokes"), page.ShowCount(u.Interval))
	}
	if n := u.Item.Item.ServiceEveryDays; n > 0 {
		if text != "" {
			text += " "
		}
		text += "Every " + present.Count(n, "day", "days") + ", counted from " + dayOf(u.From, zone) + "."
	}
	return text
}

// calibration adds how an item's calibration stands, and whether its
// sensitivity moved.
func (v *survey) calibration(ctx context.Context, i *view.ItemRow, due fallsDue, add func(page.Status, string)) error {
	k, err := v.d.Views.CalibrationAt(ctx, v.sc, i.ID, lab.At(v.now))
	if err != nil || k.State == view.NotRequired {
		return err
	}
	s := calibration(&k)
	reason := "No certificate is on record."
	if k.Calibration != nil {
		b := &k.Calibration.Calibration
		due.what, due.on, due.state, due.calibrated = "calibration", b.DueAt, s, true
		v.due = append(v.due, due)
		reason = "Certificate " + b.Certificate + " of " + dayOf(b.EffectiveAt, v.d.zone) + "."
	}
	if s.Level == page.Bad || s.Level == page.Warn {
		if k.State != view.NeverCalibrated {
			s.Word = "calibration " + s.Word
		}
		add(s, reason)
	}
	all, err := v.d.Views.Calibrations(ctx, v.sc, i.ID)
	if err != nil || len(all) < 2 {
		return err
	}
	if s, reason := moved(&all[1].Calibration, &all[0].Calibration); reason != "" {
		add(s, reason)
	}
	return nil
}

// moved says that a sensitivity changed by more than the uncertainties of the
// two certificates explain: the E_n number, |x − y| / √(U_x² + U_y²), of
// ISO/IEC 17043, annex B (not confirmed against print), is above one.
func moved(before, now *lab.Calibration) (page.Status, string) {
	if before.Sensitivity == nil || now.Sensitivity == nil || before.ExpandedUncertaintyPercent == nil || now.ExpandedUncertaintyPercent == nil || before.SensitivityUnit != now.SensitivityUnit {
		return page.Status{}, ""
	}
	x, y := *before.Sensitivity, *now.Sensitivity
	u := math.Hypot(x**before.ExpandedUncertaintyPercent, y**now.ExpandedUncertaintyPercent) / 100
	en := math.Abs(x-y) / u
	if !(u > 0) || en <= 1 {
		return page.Status{}, ""
	}
	return page.Status{Level: page.Warn, Word: fmt.Sprintf("sensitivity moved by %.1f %%", 100*(y/x-1))},
		fmt.Sprintf("More than the uncertainties of certificates %s and %s explain (E_n = %.1f).", before.Certificate, now.Certificate, en)
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
		on := x.on.Time().In(now.Location())
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

func (d *Desk) healthPage(c echo.Context, link string, typed *filled, status int) error {
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
	agents, err := d.Agents.List(ctx, sc)
	if err != nil {
		return err
	}
	if s.Agents, err = d.agentRows(ctx, &p, agents); err != nil {
		return err
	}
	s.Feed = blank(nil, page.PostFeed, "feed", "Make a new link")
	if s.FeedOn, err = d.Feeds.Since(ctx, p.ID); err != nil {
		return err
	}
	if typed != nil {
		s.Notices = append(s.Notices, typed.other...)
	}
	return httpkit.Page(c, status, s)
}

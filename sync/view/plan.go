package view

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"thudbook/metrics/wear"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// RecentDays is how far back the rate of use is looked at; whole weeks.
const RecentDays = 13 * 7

// ForecastProbability is that of the intervals of forecasts.
const ForecastProbability = 0.9

// ServiceDue is how an item stands against its service plan: every so many
// strokes, every so many days, whichever comes first.
type ServiceDue struct {
	Usage
	From     lab.Time // days are counted from here: the last service, else the first mounting, else the entry in the register
	DueAt    lab.Time // by days; zero: the plan has no days
	DaysLeft int64    // whole days until DueAt, negative when it is over

	// About is when it will be due, by strokes at the recent rate of use or by
	// days, whichever comes first, with Early and Late as the bounds of an
	// interval of ForecastProbability. Zero: WhyNot says why.
	About, Early, Late lab.Time
	WhyNot             string
	PerDay             float64 // strokes a day lately, without those of campaigns that PlannedStrokes are of

	// What campaigns at the item's rig still plan. The forecast follows the first
	// by their dates. The others have none, or are late: they only bring Early
	// forward, as if they were fired from now on at the recent rate beside the rest.
	PlannedStrokes, UndatedStrokes int64
}

// Planned says that the item has a service plan by strokes or by days.
func (s *ServiceDue) Planned() bool { return s.Plan.EveryStrokes > 0 || s.Plan.EveryDays > 0 }

// IsDue says that the strokes or the days are used up.
func (s *ServiceDue) IsDue() bool { return s.Due() || s.DueAt != 0 && s.DaysLeft < 0 }

// IsNear says that it is time for the early warning: by the plan's lead, or
// within the last tenth.
func (s *ServiceDue) IsNear() bool {
	p := &s.Plan
	byStrokes := s.Near()
	if p.WarnStrokes > 0 {
		byStrokes = s.Interval > 0 && s.Left() <= p.WarnStrokes
	}
	lead := p.WarnDays
	if lead == 0 {
		lead = p.EveryDays / 10
	}
	return byStrokes || s.DueAt != 0 && s.DaysLeft <= lead
}

// ServiceDue gives how an item stands against its service plan at a time. also
// names further ids of its lab, as in RamUsage.
func (v *Reader) ServiceDue(ctx context.Context, sc scope.Scope, item uuid.UUID, now time.Time, also ...record.LabID) (s ServiceDue, err error) {
	err = v.store.View(ctx, func(r kv.Reader) error {
		d, err := find(r, v.set.items, sc, item)
		if err != nil {
			return err
		}
		if d == nil {
			return notFound(lab.KindItem, item)
		}
		s, err = v.set.serviceDue(r, sc, d, lab.At(now), also)
		return err
	})
	return s, err
}

func (s *Set) serviceDue(r kv.Reader, sc scope.Scope, d *doc[lab.Item], now lab.Time, also []record.LabID) (ServiceDue, error) {
	u, err := s.usage(r, sc, d, now, also)
	if err != nil {
		return ServiceDue{}, err
	}
	out := ServiceDue{Usage: u}
	spans, err := s.spans(r, sc, d.UID, now+1)
	if err != nil {
		return out, err
	}
	switch {
	case u.LastService != nil:
		out.From = u.LastService.Service.EffectiveAt
	case len(spans) > 0:
		out.From = spans[0].from
	default:
		out.From = lab.Time(d.Made.WallNS / 1e6)
	}
	if days := u.Plan.EveryDays; days > 0 {
		out.DueAt = out.From + lab.Time(days*lab.DayMS)
		out.DaysLeft = (out.DueAt - now).Day()
	}
	if !out.Planned() {
		return out, nil
	}
	return out, s.forecast(r, sc, spans, now, d.Lab, also, &out)
}

// mostForecastDays: beyond a hundred years no date is worth giving.
const mostForecastDays = 36_525

// forecast fills in when the service will be due.
func (s *Set) forecast(r kv.Reader, sc scope.Scope, spans []span, now lab.Time, home record.LabID, also []record.LabID, out *ServiceDue) error {
	if out.DueAt != 0 {
		out.About, out.Early, out.Late = out.DueAt, out.DueAt, out.DueAt
	}
	if out.IsDue() {
		if out.Due() { // by strokes: now
			out.About, out.Early, out.Late = now, now, now
		}
		return nil
	}
	if out.Interval == 0 {
		return nil
	}
	use, first, err := s.recent(r, sc, spans, now)
	if err != nil {
		return err
	}
	soon := 0.0
	var plan []wear.Planned
	if out.Rig != uuid.Nil {
		a, err := s.ahead(r, sc, out.Rig, now, home, also)
		if err != nil {
			return err
		}
		if use.Days > 0 {
			soon = float64(use.Strokes) / use.Days
		}
		all := use.Strokes
		if err := s.took(r, a, spans, first, lab.DayStart(now.Day()), now, &use); err != nil {
			return err
		}
		if use.Days > 0 {
			a.goOn(float64(all-use.Strokes) / use.Days)
		}
		plan, out.PlannedStrokes, out.UndatedStrokes = a.plan, a.strokes, a.undated
	}
	f, err := wear.UntilPlanned(out.Left(), use, plan, ForecastProbability)
	if err == nil && out.UndatedStrokes > 0 && soon > 0 {
		n := float64(out.UndatedStrokes)
		early, err := wear.UntilPlanned(out.Left(), use, append(plan[:len(plan):len(plan)], wear.Planned{Strokes: n, ToDays: n / soon}), ForecastProbability)
		if err != nil {
			return err
		}
		f.Low = min(f.Low, early.Low)
	}
	if err != nil {
		out.WhyNot = "no forecast by strokes: " + err.Error()
		if out.UndatedStrokes > 0 {
			out.WhyNot += ", and campaigns with strokes to do have no dates"
		}
		if !errors.Is(err, wear.ErrIdle) && !errors.Is(err, wear.ErrShort) {
			return err
		}
		return nil
	}
	out.PerDay = f.PerDay
	sooner := func(days float64, than lab.Time) lab.Time {
		t := now + lab.Time(min(days, mostForecastDays)*lab.DayMS)
		if than != 0 {
			return min(t, than)
		}
		return t
	}
	out.About, out.Early, out.Late = sooner(f.Median, out.DueAt), sooner(f.Low, out.DueAt), sooner(f.High, out.DueAt)
	return nil
}

// recent counts an item's strokes of today and of RecentDays before it, or
// since it was mounted first where that is less. Weeks begin where UTC days do,
// so that they are added up from day counts.
func (s *Set) recent(r kv.Reader, sc scope.Scope, spans []span, now lab.Time) (u wear.Use, first lab.Time, err error) {
	if len(spans) == 0 {
		return u, 0, nil
	}
	const week = 7 * lab.DayMS
	today := lab.DayStart(now.Day())
	first = max(today-RecentDays*lab.DayMS, spans[0].from)
	u.Days = float64(now+1-first) / lab.DayMS
	for from, to := max(today, first), now+1; to > first; from, to = max(from-week, first), from {
		n := int64(0)
		for _, p := range spans {
			some, err := s.strokes(r, sc, p.rig, max(from, p.from), min(to, p.to))
			if err != nil {
				return u, first, err
			}
			n += some
		}
		u.Strokes += n
		if to-from == week {
			u.Weeks = append(u.Weeks, n)
		}
	}
	return u, first, nil
}

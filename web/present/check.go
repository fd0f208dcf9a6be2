package present

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/chart"
	"thudbook/web/page"
)

// Checks reads the system checks of a rig for a screen.
type Checks struct {
	Read  *view.Reader
	Scope scope.Scope
	Rig   uuid.UUID
	Now   time.Time // in the zone of the screen
}

const shownChecks = 60

// CheckToday is what the checks of a rig say about shooting now.
type CheckToday struct {
	State  page.Status
	Reason string
	Shot   uuid.UUID // that decides; zero: there is none
}

// Today says whether a check was fired today and whether the last that is
// decided is good.
func (k *Checks) Today(ctx context.Context) (CheckToday, error) {
	rows, err := k.Read.Checks(ctx, k.Scope, k.Rig, shownChecks)
	if err != nil {
		return CheckToday{}, err
	}
	return k.today(ctx, rows)
}

func (k *Checks) today(ctx context.Context, rows []view.CheckRow) (CheckToday, error) {
	none := CheckToday{State: page.Status{Level: page.Warn, Word: "none today"}, Reason: "Hit the reference pad before the first shot of the day."}
	decided := slices.IndexFunc(rows, func(r view.CheckRow) bool { return r.State != view.CheckUndecided })
	if decided >= 0 && rows[decided].State == view.CheckFailed {
		r := &rows[decided]
		touched, err := k.touched(ctx, rows[decided:])
		return CheckToday{Shot: r.ID, State: page.Status{Level: page.Bad, Word: "the last one failed"},
			Reason: "Fired " + k.clock(r) + ": " + r.Words() + ". " + touched + " Find out why, then check again."}, err
	}
	if len(rows) == 0 || Moment(rows[0].Shot.EffectiveAt, k.Now.Location()).Format(time.DateOnly) != k.Now.Format(time.DateOnly) {
		return none, nil
	}
	r := &rows[0]
	if r.State == view.CheckGood {
		return CheckToday{Shot: r.ID, State: page.Status{Level: page.OK, Word: "fired today, good"}, Reason: "Fired " + k.clock(r) + "."}, nil
	}
	if r.Results[0].Value == nil {
		return CheckToday{Shot: r.ID, State: page.Status{Level: page.Warn, Word: "fired today, without a result"}, Reason: "Fired " + k.clock(r) + "; its file gives no peak linear acceleration. Look at its channels, then check again."}, nil
	}
	reason := fmt.Sprintf("Fired %s. No limit is set, and %d of the %d good checks for a control chart are there.", k.clock(r), min(r.History, view.CheckHistory), view.CheckHistory)
	began, err := k.began(ctx, rows, 0)
	if began != "" {
		reason += " It began a new series, since the setup is another one: " + began + "."
	}
	return CheckToday{Shot: r.ID, State: page.Status{Word: "fired today, not judged yet"}, Reason: reason}, err
}

func (k *Checks) clock(r *view.CheckRow) string {
	return Moment(r.Shot.EffectiveAt, k.Now.Location()).Format("2006-01-02 15:04")
}

// touched counts the hits since the last good check; rows begin with the one
// that failed.
func (k *Checks) touched(ctx context.Context, rows []view.CheckRow) (string, error) {
	var from lab.Time
	since := "No earlier check was good"
	for i := range rows {
		if rows[i].State == view.CheckGood {
			from, since = rows[i].Shot.EffectiveAt, "Since the last good one, of "+k.clock(&rows[i])
			break
		}
	}
	stands := false
	list, err := k.Read.Shots(ctx, k.Scope, view.ShotFilter{Rig: k.Rig, From: from, Kind: lab.ShotHit, Void: &stands}, view.Page{Limit: view.MaxLimit})
	n, carry := Count(int64(len(list.Rows)), "shot was", "shots were"), "they carry the flag “check failed”."
	switch len(list.Rows) {
	case 0:
		return since + ", " + n + " fired, so none carries the flag “check failed”.", err
	case 1:
		carry = "it carries the flag “check failed”."
	}
	if list.Next != "" {
		n = "more than " + n
	}
	return since + ", " + n + " fired; " + carry, err
}

// Fill puts checks on a screen: one series of those on a pad. An empty pad is
// the one that was hit last, an empty series that of the newest check.
func (k *Checks) Fill(ctx context.Context, p *page.Check, pad, series string) error {
	rows, err := k.Read.Checks(ctx, k.Scope, k.Rig, view.MaxLimit)
	if err != nil {
		return err
	}
	t, err := k.today(ctx, rows)
	if err != nil {
		return err
	}
	p.State, p.Reason = t.State, t.Reason
	if t.Shot != uuid.Nil {
		p.Href = page.ShotPath(t.Shot.String())
	}
	known := map[string]bool{}
	for i := range rows {
		if name := rows[i].Shot.ReferencePad; name != "" && !known[lab.Fold(name)] {
			known[lab.Fold(name)] = true
			p.Pads = append(p.Pads, page.Choice{Value: name, Text: name})
		}
	}
	if p.Pad = pad; pad == "" && len(rows) > 0 {
		p.Pad = rows[0].Shot.ReferencePad
	}
	if rows, err = k.series(ctx, p, onPad(rows, p.Pad), series); err != nil {
		return err
	}
	if p.More = len(rows) > shownChecks; p.More {
		rows = rows[:shownChecks]
	}
	for i := range rows {
		p.Rows = append(p.Rows, k.row(&rows[i]))
	}
	if len(rows) > 0 {
		for n, r := range lab.CheckResults() {
			if c := checkChart(rows, n, r); c.HTML != "" {
				p.Charts = append(p.Charts, c)
			}
		}
	}
	var setup *view.CheckSetup
	if len(rows) > 0 {
		setup = &rows[0].Setup
	}
	return k.limits(ctx, p, setup)
}

// unitOf is the unit that a screen shows a result of a check in.
func unitOf(r lab.CheckResult) string {
	if r.Name == lab.CheckHIC {
		return "HIC"
	}
	return r.Unit
}

func checkName(r lab.CheckResult) string {
	if r.Name == lab.CheckPeakPerSpeed {
		return "Peak per impact speed"
	}
	return page.MetricName(r.Name)
}

func (k *Checks) row(r *view.CheckRow) page.CheckRow {
	out := page.CheckRow{At: Moment(r.Shot.EffectiveAt, k.Now.Location()), Href: page.ShotPath(r.ID.String()), Words: r.Words()}
	charted, limited := false, false
	for i := range r.Results {
		q := &r.Results[i]
		out.Values = append(out.Values, number(q.Value, unitOf(q.CheckResult), "not in the file"))
		charted, limited = charted || q.Chart != nil, limited || q.Limit != nil
	}
	out.State = checkState(r.State)
	switch {
	case charted && limited:
		out.Against = "set limits and " + Count(int64(r.History), "check", "checks")
	case charted:
		out.Against = Count(int64(r.History), "check", "checks")
	case limited:
		out.Against = "set limits"
	default:
		out.Against = fmt.Sprintf("nothing: %d of %d checks", r.History, view.CheckHistory)
	}
	if r.First {
		out.Against += "; first of the series"
	}
	return out
}

// checkChart draws the n-th result of checks, given newest first, in their order.
func checkChart(rows []view.CheckRow, n int, r lab.CheckResult) page.CheckChart {
	unit := unitOf(r)
	good, bad := chart.Series{Label: "within"}, chart.Series{Label: "beyond a limit"}
	low, high := line("control limit, lower"), line("control limit, upper")
	least, most := line("set limit, least"), line("set limit, most")
	low.Dash, high.Dash, least.Dash, most.Dash = "y", "y", "z", "z"
	add := func(s *chart.Series, x, y float64) { s.X, s.Y = append(s.X, x), append(s.Y, y) }
	for i := range rows {
		q, x := &rows[len(rows)-1-i].Results[n], float64(i+1)
		if q.Value != nil {
			if q.Bad() {
				add(&bad, x, *q.Value)
			} else {
				add(&good, x, *q.Value)
			}
		}
		if q.Chart != nil {
			add(&low, x, q.Chart.Low)
			add(&high, x, q.Chart.High)
		}
		if q.Limit != nil && q.Limit.Least != nil {
			add(&least, x, *q.Limit.Least)
		}
		if q.Limit != nil && q.Limit.Most != nil {
			add(&most, x, *q.Limit.Most)
		}
	}
	if len(good.X)+len(bad.X) == 0 {
		return page.CheckChart{}
	}
	s := chart.Scatter{XLabel: "check, the oldest first", Counts: true, Unit: page.Show(0, unit).Unit}
	for _, one := range []chart.Series{good, bad, low, high, least, most} {
		if len(one.X) > 0 {
			s.Series = append(s.Series, one)
		}
	}
	text := fmt.Sprintf("%s of %s, %d beyond a limit.", checkName(r), Count(int64(len(good.X)+len(bad.X)), "check", "checks"), len(bad.X))
	if c := rows[0].Results[n].Chart; c != nil {
		text += fmt.Sprintf(" The newest was held against %s to %s of the control chart.", page.Show(c.Low, unit).Text, withUnit(page.Show(c.High, unit)))
	}
	return page.CheckChart{Name: checkName(r), Text: text, HTML: s.HTML()}
}

// limits shows what is set now for the pad of a screen and the setup of the
// series that it shows; nil: no check was fired, so what every setup has.
func (k *Checks) limits(ctx context.Context, p *page.Check, setup *view.CheckSetup) error {
	if p.Pad == "" {
		return nil
	}
	set, err := k.Read.CheckLimits(ctx, k.Scope, k.Rig, p.Pad)
	var holds *lab.CheckLimits
	for i := range set {
		l := &set[i].CheckLimits
		if l.EffectiveAt <= lab.At(k.Now) && (l.Setup == nil || setup != nil && setup.Under(l)) {
			holds = l
		}
	}
	if holds == nil {
		return err
	}
	of := "every setup on this pad"
	if holds.Setup != nil {
		of = "this setup"
	}
	for _, l := range holds.Limits {
		for _, r := range lab.CheckResults() {
			if r.Name == l.Result {
				p.Limits = append(p.Limits, page.CheckLimit{Name: checkName(r), For: of, Least: number(l.Least, unitOf(r), "none"), Most: number(l.Most, unitOf(r), "none"), Source: l.Source, Since: Moment(holds.EffectiveAt, k.Now.Location())})
			}
		}
	}
	return err
}

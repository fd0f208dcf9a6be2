package present

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Day reads what happened at a rig on one day, for its report.
type Day struct {
	Read  *view.Reader
	Scope scope.Scope
	Rig   uuid.UUID
	Unit  string    // of pressure, "" for kPa
	From  time.Time // its first instant, in the zone of the screen
	Now   time.Time
	Who   func(author string) string // "" for nobody by name
}

// End is the first instant of the day after; days are 23 to 25 hours long.
func (d *Day) End() time.Time { return d.From.AddDate(0, 0, 1) }

// State is the instant for which the report says what is mounted and due: now,
// or the end of a day that is over.
func (d *Day) State() time.Time {
	if last := d.End().Add(-time.Millisecond); last.Before(d.Now) {
		return last
	}
	return d.Now
}

func (d *Day) within(t lab.Time) bool { return t >= lab.At(d.From) && t < lab.At(d.End()) }

// Fill puts the day on its screen; what is due is left to the caller.
func (d *Day) Fill(ctx context.Context, p *page.Day) error {
	p.Date, p.Zone, p.SoFar = d.From.Format(time.DateOnly), page.Zone(d.From), d.Now.Before(d.End())
	p.Previous = page.DayPath(d.From.AddDate(0, 0, -1).Format(time.DateOnly))
	if !p.SoFar {
		p.Following = page.DayPath(d.End().Format(time.DateOnly))
	}
	p.CSV = page.PathDay + ".csv?date=" + p.Date
	for _, part := range []func(context.Context, *page.Day) error{d.checks, d.shots, d.strokes, d.unread, d.log, d.inspections, d.wentOn, d.mounted} {
		if err := part(ctx, p); err != nil {
			return err
		}
	}
	d.sum(p)
	return nil
}

// person notes who acted; authors without a name are nobody.
func (d *Day) person(p *page.Day, author string) string {
	name := d.Who(author)
	if name != "" && !slices.Contains(p.Who, name) {
		p.Who = append(p.Who, name)
	}
	return name
}

// EachShot gives the shots and system checks of the day, oldest first.
func (d *Day) EachShot(ctx context.Context, do func(*view.ShotRow) error) error {
	f := view.ShotFilter{Rig: d.Rig, From: lab.At(d.From), To: lab.At(d.End()), Oldest: true}
	for q := (view.Page{Limit: view.MaxLimit}); ; {
		list, err := d.Read.Shots(ctx, d.Scope, f, q)
		if err != nil {
			return err
		}
		for i := range list.Rows {
			if err := do(&list.Rows[i]); err != nil {
				return err
			}
		}
		if q.After = list.Next; list.Next == "" {
			return nil
		}
	}
}

func (d *Day) row(ctx context.Context, p *page.Day, r *view.ShotRow) (out page.DayShot, err error) {
	if out.ShotRow, err = ListRow(ctx, d.Read, d.Scope, r, d.From.Location()); err != nil {
		return out, err
	}
	out.Flags = slices.DeleteFunc(out.Flags, func(f page.Flag) bool { return f.Code == "void" }) // it has a column of its own
	out.Condition = r.Shot.Condition
	out.By = cmp.Or(d.person(p, r.Shot.Operator), d.person(p, r.Author)) // who confirmed it, or who was there when its file came
	out.Pressure = page.Pressure{Number: page.Missing("not recorded")}
	if v := r.Shot.TankPressureKPaGauge; v != nil {
		out.Pressure = Pressure(*v, d.Unit)
	}
	return out, nil
}

// checks are those that stand; a void one is among the shots, with its reason.
func (d *Day) checks(ctx context.Context, p *page.Day) error {
	return d.EachShot(ctx, func(r *view.ShotRow) error {
		if r.Shot.Kind != lab.ShotSystemCheck || r.Void() {
			return nil
		}
		out, err := d.row(ctx, p, r)
		if err != nil {
			return err
		}
		c, err := d.Read.Check(ctx, d.Scope, r.ID)
		if err != nil {
			return err
		}
		out.Specimen, out.Verdict = r.Shot.ReferencePad, page.Status{Word: "not judged"}
		if c != nil {
			out.Verdict, out.Reason = checkState(c.State), c.Words()
		}
		p.Checks = append(p.Checks, out)
		return nil
	})
}

func (d *Day) shots(ctx context.Context, p *page.Day) error {
	return d.EachShot(ctx, func(r *view.ShotRow) error {
		if r.Shot.Kind == lab.ShotSystemCheck && !r.Void() {
			return nil
		}
		out, err := d.row(ctx, p, r)
		if err != nil {
			return err
		}
		var by string
		if out.Verdict, out.Reason, by, err = d.verdict(ctx, r); err != nil {
			return err
		}
		out.VerdictBy = d.person(p, by)
		if !r.Void() {
			if out.Limits, err = d.limits(ctx, r); err != nil {
				return err
			}
		}
		p.Shots = append(p.Shots, out)
		return nil
	})
}

// verdict is what a person said of a shot, why, and who it was.
func (d *Day) verdict(ctx context.Context, r *view.ShotRow) (said page.Status, reason, by string, err error) {
	if r.Void() {
		return page.Status{Level: page.Bad, Word: "void"}, r.Withdrawn.Reason, r.Withdrawn.Author, nil
	}
	a, err := d.Read.Accepted(ctx, d.Scope, r.ID)
	switch {
	case a.Of(r):
		return page.Status{Level: page.OK, Word: "accepted"}, "", a.Author, err
	case a != nil:
		return page.Status{Level: page.Warn, Word: "accepted, computed again since"}, "", a.Author, err
	}
	return page.Status{Word: "not accepted yet"}, "", "", err
}

// limits sums up how a shot stands against the acceptance limits of its campaigns.
func (d *Day) limits(ctx context.Context, r *view.ShotRow) (page.Status, error) {
	scores, err := d.Read.Scores(ctx, d.Scope, r.ID)
	if err != nil || len(scores) == 0 || r.Shot.Kind != lab.ShotHit || r.Shot.Specimen == "" {
		return page.Status{}, err
	}
	with, err := CampaignsWith(ctx, d.Read, d.Scope.Only(r.Lab), r.Shot.Specimen)
	if err != nil {
		return page.Status{}, err
	}
	v := VerdictOf(with, scores[0].Score.Results)
	switch {
	case v.Compared == 0:
		return page.Status{}, nil
	case len(v.Above) == 0 && v.Open > 0:
		return page.Status{Level: page.Warn, Word: "not known: a lower bound"}, nil
	case len(v.Above) == 0:
		return page.Status{Level: page.OK, Word: "within the limits"}, nil
	}
	return page.Status{Level: page.Bad, Word: strings.Join(v.Above, "; ")}, nil
}

// mounted says what sat where at the end of the day, or sits there now.
func (d *Day) mounted(ctx context.Context, p *page.Day) error {
	rows, err := d.Read.Mounted(ctx, d.Scope, d.Rig, lab.At(d.State()))
	for i := range rows {
		b := &rows[i].Mounting.Mounting
		m := page.DayMounted{Position: b.Position, Item: "an item that is not in the register here", Since: Moment(b.EffectiveAt, d.From.Location())}
		if rows[i].Item != nil {
			m.Item = rows[i].Item.Item.Title()
		}
		p.Mounted = append(p.Mounted, m)
	}
	return err
}

// sum counts what the lists show. Every row of theirs is in one number that is
// not of another one; flags are counted on the shots that stand.
func (d *Day) sum(p *page.Day) {
	if p.Empty() {
		return
	}
	var hits, accepted, void, dry, bare, flagged, second int
	for i := range p.Shots {
		switch s := &p.Shots[i]; {
		case s.Verdict.Word == "void":
			void++
		case s.Kind == Kind(lab.ShotSecondFile):
			second++
		case s.Kind == Kind(lab.ShotHit):
			hits++
			if s.Verdict.Level == page.OK {
				accepted++
			}
			if len(s.Flags) > 0 {
				flagged++
			}
		default:
			dry++
		}
	}
	for i := range p.Strokes {
		bare += p.Strokes[i].Number
	}
	for _, s := range []struct {
		what string
		n    int
	}{{"Shots, without void ones", hits}, {"Of these accepted", accepted}, {"Of these with a flag", flagged}, {"Void, of every kind", void}, {"Dry strokes with a file", dry}, {"Second files, no strokes", second}, {"System checks", len(p.Checks)}, {"Strokes without a file", bare}, {"Inspections", len(p.Seen)}} {
		p.Sums = append(p.Sums, page.DaySum{What: s.what, Count: page.ShowCount(int64(s.n))})
	}
}

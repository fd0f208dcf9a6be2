package view

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// judged are the flags of a hit that come from the plans that have its specimen:
// the times that they limit, as they are now, and where the hit was recorded
// under another plan, what was changed and what would be said by that one.
func (s *Set) judged(r kv.Reader, sc scope.Scope, d *doc[lab.Shot]) (out []lab.Flag, err error) {
	if d.body().Kind != lab.ShotHit {
		return nil, nil
	}
	plans, err := s.plansOf(r, d)
	if err != nil || len(plans) == 0 {
		return nil, err
	}
	t, err := s.timesOf(r, sc, d)
	if err != nil {
		return nil, err
	}
	for i := range plans {
		p := &plans[i]
		if p.now.Has(t.specimen) {
			out = append(out, t.flags(p.now)...)
		}
		if why := p.differs(d, t); why != "" {
			out = append(out, lab.Flag{Code: lab.FlagPlanChanged, Text: why})
		}
	}
	return out, nil
}

// differs says how the plan in force judges a hit otherwise than the one under
// which it was recorded; "" where both say the same of it.
func (p *planned) differs(d *doc[lab.Shot], t *hitTimes) string {
	if p.then == nil || p.changed == 0 {
		return ""
	}
	var what []string
	add := func(name, then, now string) {
		if then != now {
			what = append(what, fmt.Sprintf("%s: %s, was %s", name, now, then))
		}
	}
	was, is := p.then.Has(t.specimen), p.now.Has(t.specimen)
	if !was && !is {
		return ""
	}
	yes := map[bool]string{true: "in the plan", false: "not in the plan"}
	add("the specimen", yes[was], yes[is])
	if was && is {
		add("the hit's cell", cellWords(p.then, d), cellWords(p.now, d))
		add("out of the chamber", atMost(p.then.MostOutOfChamberS), atMost(p.now.MostOutOfChamberS))
		add("rest between hits", atLeast(p.then.LeastRestS), atLeast(p.now.LeastRestS))
		for _, name := range limitNames(p.then, p.now) {
			add("limit of "+strings.ReplaceAll(name, "_", " "), limitWords(p.then, name), limitWords(p.now, name))
		}
	}
	if len(what) == 0 {
		return ""
	}
	text := fmt.Sprintf("the campaign %q was changed on %s, after this shot was recorded (%s). What is said here follows the plan in force", p.now.Name, p.changed.Time().UTC().Format("2006-01-02 15:04 UTC"), strings.Join(what, "; "))
	if before := t.flags(p.then); was && len(before) > 0 {
		var said []string
		for _, f := range before {
			said = append(said, f.Text)
		}
		text += "; by the plan of then: " + strings.Join(said, "; ")
	}
	return text
}

// cellWords names the cell that counts a hit, with its tolerance and what the
// hit's speed makes of it.
func cellWords(k *lab.Campaign, d *doc[lab.Shot]) string {
	b := d.body()
	key := cellKey{location: lab.Fold(b.Location), condition: lab.Fold(b.Condition), target: noTarget}
	if b.TargetSpeedMS != nil {
		key.target = lab.MillimetresPerSecond(*b.TargetSpeedMS)
	}
	i, why := key.in(k.Cells)
	if i < 0 {
		return "none, " + string(why)
	}
	x := &k.Cells[i]
	if x.ToleranceMS <= 0 {
		return fmt.Sprintf("%.2f m/s, speed not judged", x.TargetSpeedMS)
	}
	text := fmt.Sprintf("%.2f ± %g m/s", x.TargetSpeedMS, x.ToleranceMS)
	var f *Figures
	if d.Figures != nil {
		f = &d.Figures.Figures
	}
	if v := speedOf(b, f); v != nil {
		word := "outside"
		if x.Within(lab.MillimetresPerSecond(*v)) {
			word = "within"
		}
		text += " (its speed is " + word + ")"
	}
	return text
}

func atMost(s float64) string {
	if s <= 0 {
		return "any time"
	}
	return "at most " + inWords(s)
}

func atLeast(s float64) string {
	if s <= 0 {
		return "any time"
	}
	return "at least " + inWords(s)
}

func limitNames(of ...*lab.Campaign) (out []string) {
	for _, k := range of {
		for i := range k.AcceptanceLimits {
			out = append(out, k.AcceptanceLimits[i].Result)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// limitWords gives the limits of one result, the strictest first.
func limitWords(k *lab.Campaign, result string) string {
	var of []lab.Limit
	for _, l := range k.AcceptanceLimits {
		if l.Result == result {
			of = append(of, l)
		}
	}
	slices.SortFunc(of, func(a, b lab.Limit) int { return cmp.Or(cmp.Compare(a.Most, b.Most), cmp.Compare(a.Unit, b.Unit)) })
	var out []string
	for _, l := range of {
		out = append(out, strings.TrimSpace(fmt.Sprintf("at most %g %s", l.Most, l.Unit)))
	}
	return cmp.Or(strings.Join(out, " and "), "none")
}

// asTakenIn turns the flags that a program once recorded by the plan of its day
// into what they are: a judgement of then. The one by the plan in force is made
// by judged, when it is asked for.
func asTakenIn(flags []lab.Flag) []lab.Flag {
	out := slices.Clone(flags)
	for i := range out {
		switch f := &out[i]; f.Code {
		case lab.FlagOutTooLong, lab.FlagRestTooShort, lab.FlagTimerUnknown:
			*f = lab.Flag{Code: lab.FlagJudgedThen, Text: strings.ReplaceAll(f.Code, "_", " ") + ": " + f.Text}
		}
	}
	return out
}

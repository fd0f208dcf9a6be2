package view

import (
	"fmt"
	"strings"

	"thudbook/metrics/ram"
	"thudbook/sync/lab"
)

// What the control chart of system checks rests on; common practice, no
// published source.
const (
	CheckHistory = 10 // good checks before the chart judges
	checkMost    = 30 // good checks from which on its limits stay
)

// CheckState says what came of a system check.
type CheckState string

// The states. A check is undecided while there is nothing to hold it against,
// or a result is missing that has limits.
const (
	CheckGood      CheckState = "good"
	CheckFailed    CheckState = "failed"
	CheckUndecided CheckState = "undecided"
)

// CheckRow is a system check with what came of it.
type CheckRow struct {
	ShotRow
	State   CheckState
	Results []CheckPoint // as lab.CheckResults
	History int          // good checks that it was held against
	Setup   CheckSetup   // that it was fired with
	First   bool         // no check of this pad and setup was before it since the chart began
}

// CheckPoint is one result of a check.
type CheckPoint struct {
	lab.CheckResult
	Value  *float64         // nil: the shot does not have it
	Limit  *lab.CheckLimit  // nil: none is set
	Chart  *ram.Individuals // nil: too few checks before, or all of them equal
	Beyond ram.Signal       // on which side it is beyond the fixed limit
	Signal ram.Signal       // on which side it is beyond the chart's limits
	Range  *float64         // to the check before; nil: there is none
	Jumped bool             // Range is beyond its limit; this alone fails no check
}

// Bad says that the result is beyond a limit.
func (p *CheckPoint) Bad() bool { return p.Beyond != ram.InControl || p.Signal != ram.InControl }

// checkName is a result in a sentence.
func checkName(result string) string {
	return map[string]string{lab.CheckPeak: "peak linear acceleration", lab.CheckHIC: "HIC15", lab.CheckPeakPerSpeed: "peak per impact speed"}[result]
}

// Words says what is beyond its limits.
func (c *CheckRow) Words() string {
	var out []string
	for i := range c.Results {
		p := &c.Results[i]
		if p.Value == nil || !p.Bad() {
			continue
		}
		unit := " " + p.Unit
		if p.Unit == "1" {
			unit = ""
		}
		text := fmt.Sprintf("%s %.4g%s", checkName(p.Name), *p.Value, unit)
		switch p.Beyond {
		case ram.Up:
			text += fmt.Sprintf(", above the limit of %g%s", *p.Limit.Most, unit)
		case ram.Down:
			text += fmt.Sprintf(", below the limit of %g%s", *p.Limit.Least, unit)
		}
		if p.Signal != ram.InControl {
			text += fmt.Sprintf(", outside %.4g to %.4g%s of the control chart", p.Chart.Low, p.Chart.High, unit)
		}
		out = append(out, text)
	}
	return strings.Join(out, "; ")
}

// series judges the checks of one rig on one pad with one setup, in their order.
type series struct {
	setup  CheckSetup
	any    bool             // a check was judged since the chart began
	limits []CheckLimitsRow // of the pad and the setup, by time
	from   lab.Time         // since when the chart runs
	good   int
	base   map[string][]float64 // of good checks
	last   map[string]float64   // of the check before
}

func newSeries(limits []CheckLimitsRow, pad string, setup CheckSetup) *series {
	s := &series{setup: setup}
	for i := range limits {
		if k := &limits[i].CheckLimits; lab.Fold(k.Pad) == pad && setup.Under(k) {
			s.limits = append(s.limits, limits[i])
		}
	}
	s.anew(0)
	return s
}

func (s *series) anew(from lab.Time) {
	s.from, s.any, s.good, s.base, s.last = from, false, 0, map[string][]float64{}, map[string]float64{}
}

// start is since when the chart runs that holds at a time.
func (s *series) start(t lab.Time) (from lab.Time) {
	for i := range s.limits {
		if k := &s.limits[i].CheckLimits; k.Anew && k.EffectiveAt <= t {
			from = k.EffectiveAt
		}
	}
	return from
}

// complete says that no further check changes the limits of the chart.
func (s *series) complete() bool { return s.good >= checkMost }

// fixed gives the limits that hold at a time.
func (s *series) fixed(t lab.Time) (hold *lab.CheckLimits) {
	for i := range s.limits {
		if k := &s.limits[i].CheckLimits; k.EffectiveAt <= t {
			hold = k
		}
	}
	return hold
}

// judge holds the next check against its limits and those before it.
func (s *series) judge(d *doc[lab.Shot]) CheckRow {
	row := CheckRow{ShotRow: shotRow(d)}
	at := row.Shot.EffectiveAt
	if from := s.start(at); from != s.from {
		s.anew(from)
	}
	row.History, row.Setup, row.First = s.good, s.setup, !s.any
	s.any = true
	fixed := s.fixed(at)
	held, missing, bad := false, false, false
	for _, r := range lab.CheckResults() {
		p := CheckPoint{CheckResult: r, Value: checkValue(&row.ShotRow, r.Name)}
		if fixed != nil {
			for i := range fixed.Limits {
				if fixed.Limits[i].Result == r.Name {
					p.Limit = &fixed.Limits[i]
				}
			}
		}
		if c, err := ram.NewIndividuals(s.base[r.Name]); err == nil && c.N >= CheckHistory {
			p.Chart = &c
		}
		p.hold(s.last)
		if p.Value != nil {
			held = held || p.Limit != nil || p.Chart != nil
		} else {
			missing = missing || p.Limit != nil || r.Name == lab.CheckPeak
		}
		bad = bad || p.Bad()
		row.Results = append(row.Results, p)
	}
	switch {
	case bad:
		row.State = CheckFailed
	case missing || !held:
		row.State = CheckUndecided
	default:
		row.State = CheckGood
	}
	s.keep(&row)
	return row
}

// hold compares the value with what there is.
func (p *CheckPoint) hold(last map[string]float64) {
	if p.Value == nil {
		return
	}
	v := *p.Value
	if l := p.Limit; l != nil {
		switch {
		case l.Most != nil && v > *l.Most:
			p.Beyond = ram.Up
		case l.Least != nil && v < *l.Least:
			p.Beyond = ram.Down
		}
	}
	if before, ok := last[p.Name]; ok {
		p.Range = new(max(v-before, before-v))
	}
	if p.Chart != nil {
		p.Signal = p.Chart.Signal(v)
		p.Jumped = p.Range != nil && *p.Range > p.Chart.RangeHigh
	}
}

// keep takes a check that did not fail among those that later ones are held
// against; what signalled must not widen the limits.
func (s *series) keep(row *CheckRow) {
	whole := row.State != CheckFailed && row.Results[0].Value != nil && !s.complete()
	for i := range row.Results {
		p := &row.Results[i]
		if p.Value == nil {
			continue
		}
		s.last[p.Name] = *p.Value
		if whole {
			s.base[p.Name] = append(s.base[p.Name], *p.Value)
		}
	}
	if whole {
		s.good++
	}
}

// checkValue reads a result of a shot.
func checkValue(r *ShotRow, name string) *float64 {
	if r.Figures == nil {
		return nil
	}
	switch name {
	case lab.CheckPeak:
		return r.Figures.PeakG
	case lab.CheckHIC:
		return r.Figures.HIC15
	case lab.CheckPeakPerSpeed:
		if v := r.SpeedMS(); v != nil && *v > 0 && r.Figures.PeakG != nil {
			return new(*r.Figures.PeakG / *v)
		}
	}
	return nil
}

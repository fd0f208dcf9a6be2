package view

import (
	"github.com/google/uuid"

	"thudbook/metrics/wear"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// ahead is what campaigns still plan on a rig.
type ahead struct {
	plan    []wear.Planned // those with dates to come
	strokes int64          // of them
	undated int64          // strokes of campaigns without dates, or whose dates are over
	fired   map[string]int // specimens of those in plan, folded, for what recent use has of them
	labs    []record.LabID
}

// ahead looks at the campaigns of a lab. A campaign that names no rig counts for
// the rig of a lab that has only one.
func (s *Set) ahead(r kv.Reader, sc scope.Scope, rig uuid.UUID, now lab.Time, home record.LabID, also []record.LabID) (*ahead, error) {
	a := &ahead{fired: map[string]int{}}
	a.labs, _ = sc.Only(append([]record.LabID{home}, also...)...).List()
	rigs := 0
	for _, of := range a.labs {
		for d, err := range s.rigs.ScanIndex(r, byName, of[:], kv.PrefixEnd(of[:]), false) {
			if err != nil {
				return nil, err
			}
			if d.stands() {
				rigs++
			}
		}
	}
	for _, of := range a.labs {
		for d, err := range s.campaigns.ScanIndex(r, byName, of[:], kv.PrefixEnd(of[:]), false) {
			if err != nil {
				return nil, err
			}
			b := d.body()
			if b.Rig != nil && *b.Rig != rig || b.Rig == nil && rigs != 1 {
				continue
			}
			var p Progress
			if err := s.progress(r, a.labs, b, &p); err != nil {
				return nil, err
			}
			a.add(b, p.Cells, now)
		}
	}
	return a, nil
}

// add takes in what a campaign has left.
func (a *ahead) add(b *lab.Campaign, cells []CellProgress, now lab.Time) {
	left := int64(0)
	for i := range cells {
		left += cells[i].Left()
	}
	switch {
	case left == 0:
		return
	case b.EndsAt <= now:
		a.undated += left
		return
	}
	days := func(t lab.Time) float64 { return max(0, float64(t-now)/lab.DayMS) }
	a.plan = append(a.plan, wear.Planned{Strokes: float64(left), FromDays: days(b.StartsAt), ToDays: days(b.EndsAt)})
	a.strokes += left
	for _, x := range b.Specimens {
		a.fired[lab.Fold(x)]++
	}
}

// goOn lets campaigns follow on those with dates: when the last of these is over,
// as many strokes a day as theirs made lately.
func (a *ahead) goOn(perDay float64) {
	over := 0.0
	for i := range a.plan {
		over = max(over, a.plan[i].ToDays)
	}
	if perDay > 0 && over < mostForecastDays {
		a.plan = append(a.plan, wear.Planned{Strokes: perDay * (mostForecastDays - over), FromDays: over, ToDays: mostForecastDays})
	}
}

// took takes the hits of planned campaigns, which come as they are planned, out
// of recent use, so that they are not counted twice.
func (s *Set) took(r kv.Reader, a *ahead, spans []span, first, today, now lab.Time, u *wear.Use) error {
	const week = 7 * lab.DayMS
	for specimen := range a.fired {
		for _, of := range a.labs {
			key := kv.Join(of[:], kv.Str(specimen))
			for d, err := range s.shots.ScanIndex(r, bySpecimen, kv.Join(key, when(first)), kv.Join(key, when(now+1)), false) {
				if err != nil {
					return err
				}
				at := d.body().EffectiveAt
				if !hits(d) || !sat(spans, d.body().Rig, at) {
					continue
				}
				u.Strokes = max(0, u.Strokes-1)
				if at >= today {
					continue
				}
				if i := int((today - 1 - at) / week); i < len(u.Weeks) {
					u.Weeks[i] = max(0, u.Weeks[i]-1)
				}
			}
		}
	}
	return nil
}

func sat(spans []span, rig uuid.UUID, t lab.Time) bool {
	for _, p := range spans {
		if p.rig == rig && p.from <= t && t < p.to {
			return true
		}
	}
	return false
}

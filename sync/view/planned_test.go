package view_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/hlc"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// By hand: 12 strokes on each of the last 91 days, of which ten are hits on a
// specimen whose campaign has 100 left, from the day after tomorrow on for ten
// days. So 182 strokes in 91 days go on beside 100 planned ones, and ten a day
// again when these are over; 140 are left. scipy 1.10, brentq over
// beta.cdf(t/(t + 91), 140 - planned(t), 182.5) = 0.05, 0.5, 0.95 with planned(t)
// = 10 (t - 2) from day 2 to 12 and 100 + 10 (t - 12) after it: 12.52504, 13.30359
// and 14.03330 days.
func TestForecastFollowsCampaigns(t *testing.T) {
	w := openWorld(t)
	now := labtest.Start().AddDate(0, 0, 91)
	w.say(rig1, &lab.Rig{Name: "one"})
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R-1", ServiceEveryStrokes: 2000, OpeningStrokes: 768})
	w.say(labtest.ID("m"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: lab.At(labtest.Start())})
	var recs []record.Record
	for d := range 91 {
		for i := range 12 {
			at := labtest.Start().Add(time.Duration(d)*24*time.Hour + time.Duration(i+1)*time.Minute)
			recs = append(recs, w.stated(node1, labA, hlc.Time(10000+d*12+i), labtest.ID("f", d, i), labtest.Shot(rig1, at, func(s *lab.Shot) {
				s.Specimen, s.Location, s.Condition, s.TargetSpeedMS = "F-1", "front", "", new(5.5)
				if i >= 10 {
					s.Kind, s.Specimen = lab.ShotDry, ""
				}
			})))
		}
	}
	w.together(recs)
	due := func() view.ServiceDue {
		t.Helper()
		s, err := w.ServiceDue(w.ctx(), onlyA, ram1, now)
		if err != nil || s.Left() != 140 {
			t.Fatalf("%d left, %v", s.Left(), err)
		}
		return s
	}
	days := func(at lab.Time) float64 { return float64(at-lab.At(now)) / lab.DayMS }
	before := due()
	campaign := func(name string, planned int, change func(*lab.Campaign)) uuid.UUID {
		c := &lab.Campaign{Name: name, Specimens: []string{"f-1"}, Cells: []lab.Cell{{Location: "Front", TargetSpeedMS: 5.5, Planned: planned}}}
		change(c)
		id := labtest.ID("campaign", name)
		w.say(id, c)
		return id
	}
	in := func(d int) lab.Time { return lab.At(now.AddDate(0, 0, d)) }
	campaign("of another rig", 5000, func(c *lab.Campaign) { c.Rig, c.StartsAt, c.EndsAt = &rig2, in(0), in(2) })
	campaign("complete", 910, func(c *lab.Campaign) { c.StartsAt, c.EndsAt = in(0), in(9) })
	if s := due(); s.About != before.About || s.PlannedStrokes != 0 || s.UndatedStrokes != 0 {
		t.Errorf("campaigns that do not concern the ram: %+v, before %+v", s, before)
	}
	open := campaign("dated", 1010, func(c *lab.Campaign) { c.Rig, c.StartsAt, c.EndsAt = &rig1, in(2), in(12) })
	s := due()
	if s.PlannedStrokes != 100 || math.Abs(s.PerDay-2) > 1e-6 {
		t.Errorf("%d planned, %g a day beside them", s.PlannedStrokes, s.PerDay)
	}
	for what, v := range map[string][2]float64{"early": {days(s.Early), 12.52504}, "about": {days(s.About), 13.30359}, "late": {days(s.Late), 14.03330}} {
		if math.Abs(v[0]-v[1]) > 1e-3 {
			t.Errorf("%s in %.5f days, want %.5f", what, v[0], v[1])
		}
	}
	s0 := s
	// Without dates the recent rate holds, and only the early end comes forward.
	for _, field := range []string{"starts_at", "ends_at"} {
		e, err := lab.NewEdit(open, lab.KindCampaign, field, nil)
		if err != nil {
			t.Fatal(err)
		}
		w.say(open, e)
	}
	s = due()
	if s.UndatedStrokes != 100 || s.PlannedStrokes != 0 || s.About != before.About || s.Late != before.Late || s.Early >= before.Early || s.Early <= lab.At(now) {
		t.Errorf("without dates %+v, before %+v", s, before)
	}
	// Dates that are set again by edits are followed as those of the plan were; of
	// two sites that set them without sight of each other, the newest pair.
	move := func(node record.NodeID, at hlc.Time, from, to int) {
		t.Helper()
		var recs []record.Record
		for i, v := range []lab.Time{in(from), in(to)} {
			e, err := lab.NewEdit(open, lab.KindCampaign, []string{"starts_at", "ends_at"}[i], v)
			if err != nil {
				t.Fatal(err)
			}
			recs = append(recs, w.stated(node, labA, at+hlc.Time(i), open, e))
		}
		w.together(recs)
	}
	move(node1, 1<<40, 2, 12)
	if again := due(); again.About != s0.About || again.Early != s0.Early || again.Late != s0.Late || again.PlannedStrokes != 100 {
		t.Errorf("the same dates by edits: %+v, before %+v", again, s0)
	}
	move(node2, 1<<41, 40, 50)
	moved := due()
	c, err := w.Campaign(w.ctx(), onlyA, open)
	if err != nil || len(c.Conflicts()) != 2 || c.Campaign.StartsAt != in(40) || c.Campaign.EndsAt != in(50) {
		t.Errorf("two pairs of dates: %+v, conflicts %v, %v", c.Campaign, c.Conflicts(), err)
	}
	if moved.PlannedStrokes != 100 || moved.About <= s0.About {
		t.Errorf("with the campaign put off: %+v, before %+v", moved, s0)
	}
}

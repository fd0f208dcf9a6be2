package desk

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/present"
)

func TestServiceDueWords(t *testing.T) {
	at := func(day string) lab.Time {
		d, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		return lab.At(d)
	}
	due := func(interval, since int64, change func(*view.ServiceDue)) view.ServiceDue {
		s := view.ServiceDue{Usage: view.Usage{Interval: interval, StrokesSinceService: since}}
		s.Plan.EveryStrokes = interval
		if change != nil {
			change(&s)
		}
		return s
	}
	forecast := func(s *view.ServiceDue) {
		s.About, s.Early, s.Late = at("2026-12-03"), at("2026-11-30"), at("2026-12-09")
	}
	days := func(left int64) func(*view.ServiceDue) {
		return func(s *view.ServiceDue) {
			s.Plan.EveryDays, s.DueAt, s.DaysLeft = 100, at("2026-12-03"), left
			s.About, s.Early, s.Late = s.DueAt, s.DueAt, s.DueAt
		}
	}
	for _, c := range []struct {
		s     view.ServiceDue
		level page.Level
		word  string
	}{
		{due(0, 5, nil), page.Plain, "no interval set"},
		{due(1000, 860, forecast), page.OK, "due in 140 strokes, about 2026-12-03 (2026-11-30 to 2026-12-09)"},
		{due(1000, 900, forecast), page.Warn, "due in 100 strokes, about 2026-12-03 (2026-11-30 to 2026-12-09)"},
		{due(1000, 860, func(s *view.ServiceDue) { forecast(s); s.Plan.WarnStrokes = 140 }), page.Warn, "due in 140 strokes, about 2026-12-03 (2026-11-30 to 2026-12-09)"},
		{due(1000, 1000, nil), page.Bad, "due now"},
		{due(1000, 1312, nil), page.Bad, "overdue by 312 strokes"},
		{due(1000, 10, func(s *view.ServiceDue) { s.WhyNot = "no forecast by strokes: it was not used lately" }), page.OK, "due in 990 strokes; no forecast by strokes: it was not used lately"},
		{due(0, 0, days(12)), page.OK, "due in 12 days, on 2026-12-03"},
		{due(0, 0, days(10)), page.Warn, "due in 10 days, on 2026-12-03"},
		{due(0, 0, days(0)), page.Warn, "due in less than a day, on 2026-12-03"},
		{due(0, 0, days(-1)), page.Bad, "overdue since 2026-12-03"},
		{due(1000, 10, days(12)), page.OK, "due in 990 strokes or 12 days, about 2026-12-03"},
	} {
		got := present.ServiceDue(&c.s, time.UTC)
		if got.Level != c.level || strings.ReplaceAll(got.Word, "\u202f", " ") != c.word {
			t.Errorf("got %+v, want %v %q", got, c.level, c.word)
		}
	}
}

// By hand: 2026-11-25 is a Wednesday of ISO week 48; the year's week 53 ends on
// 2027-01-03, and 2027-01-04 is Monday of week 1.
func TestWeeksByHand(t *testing.T) {
	zone := time.FixedZone("", 3600)
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, zone)
	var all []fallsDue
	for _, on := range []string{"2026-11-01", "2026-11-22", "2026-11-23", "2026-11-29", "2026-11-30", "2027-01-03", "2027-01-04", "2029-01-01"} {
		d, err := time.ParseInLocation(time.DateOnly, on, zone)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, fallsDue{on: lab.At(d), title: on, what: "service"})
	}
	all = append(all, fallsDue{title: "never"})
	var got []string
	for _, w := range weeks(all, now) {
		line := fmt.Sprintf("%d %s to %s:", w.Number, w.From.Format(time.DateOnly), w.To.Format(time.DateOnly))
		if w.Past {
			line = "past:"
		}
		for _, r := range w.Rows {
			line += " " + r.Item
		}
		got = append(got, line)
	}
	want := []string{"past: 2026-11-01 2026-11-22", "48 2026-11-23 to 2026-11-29: 2026-11-23 2026-11-29", "49 2026-11-30 to 2026-12-06: 2026-11-30",
		"53 2026-12-28 to 2027-01-03: 2027-01-03", "1 2027-01-04 to 2027-01-10: 2027-01-04"}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("\n got %q\nwant %q", got, want)
	}
}

// By hand, on two rigs over two days: department A fires at 8:00, 9:30 and 11:00
// on rig 1, B at 9:00 and 9:15 there and at 14:00 on rig 2, A again the next
// day at 8:00 and 8:45. A: 5 strokes in 3 h + 0.75 h; B: 3 strokes in 0.25 h + 0.
func TestUsageByHand(t *testing.T) {
	rig1, rig2 := labtest.ID("rig 1"), labtest.ID("rig 2")
	r := &report{by: "owner", zone: time.UTC, rows: map[string]*share{}, filed: map[rigMonth]int64{}, owners: map[string]owner{"h-01": {"A", "series one"}}}
	shot := func(day, hour, minute int, specimen, department string) *lab.Shot {
		rig := rig1
		if hour == 14 {
			rig = rig2
		}
		s := labtest.Shot(rig, time.Date(2026, 3, day, hour, minute, 0, 0, time.UTC))
		s.Specimen, s.Kind = specimen, lab.ShotDry
		if department != "" {
			s.Extra = map[string]string{"department": department}
		}
		return s
	}
	for _, s := range []*lab.Shot{shot(2, 11, 0, "H-01", ""), shot(2, 8, 0, "h-01 ", ""), shot(2, 9, 30, "H-01", ""), shot(2, 9, 0, "", "B"), shot(2, 9, 15, "H-01", "B"),
		shot(2, 14, 0, "", "B"), shot(3, 8, 0, "H-01", ""), shot(3, 8, 45, "H-01", ""), shot(3, 12, 0, "", "")} {
		r.add(s)
	}
	for name, want := range map[string]struct {
		strokes int64
		hours   float64
	}{"A": {5, 3.75}, "B": {3, 0.25}, "no department or project": {1, 0}} {
		x := r.rows[name]
		if x == nil || x.strokes != want.strokes || x.hours() != want.hours {
			t.Errorf("%s: %+v, want %+v", name, x, want)
		}
	}
	strokes, hours := r.total()
	if strokes != 9 || hours != 4 || strings.Join(r.sorted(), ", ") != "A, B, no department or project" {
		t.Errorf("%d strokes in %g h by %v", strokes, hours, r.sorted())
	}
}

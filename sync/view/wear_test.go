package view_test

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thudbook/sync/hlc"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// worn is what a replay by hand gives.
type worn struct {
	since, total, corrected, strokes, shots, known int64
	mj                                             int64
	days, peak                                     float64
}

// history is what happened to a lab, with what a replay needs beside the facts.
type history struct {
	facts  []fact
	energy map[lab.Body]float64
	peak   map[lab.Body]float64
	void   map[lab.Body]bool
}

// replay walks through the history one fact after the other, as a person with
// a tally sheet at the rig would.
func (h *history) replay(item uuid.UUID, opening int64, now lab.Time) worn {
	facts := slices.Clone(h.facts)
	slices.SortStableFunc(facts, func(a, b fact) int {
		return cmp.Or(cmp.Compare(a.at, b.at), rank(a.body)-rank(b.body), cmp.Compare(a.clock, b.clock))
	})
	w := worn{since: opening, total: opening}
	rig, position := uuid.Nil, ""
	var last lab.Time
	for _, f := range facts {
		if f.at > now {
			break
		}
		if rig != uuid.Nil {
			w.days += float64(f.at-last) / lab.DayMS
		}
		last = f.at
		switch b := f.body.(type) {
		case *lab.Mounting:
			if b.Item == item {
				rig, position = b.Rig, b.Position
			} else if b.Rig == rig && b.Position == position {
				rig, position = uuid.Nil, ""
			}
		case *lab.Service:
			if b.Item == item {
				w.since = 0
			}
		case *lab.Correction:
			if b.Item == item {
				w.since, w.total, w.corrected = w.since+b.Strokes, w.total+b.Strokes, w.corrected+b.Strokes
			}
		case *lab.Shot:
			if b.Rig != rig || b.Kind == lab.ShotSecondFile {
				continue
			}
			w.since, w.total, w.strokes = w.since+1, w.total+1, w.strokes+1
			if b.Kind == lab.ShotHit && !h.void[b] {
				w.shots++
			}
			if e, ok := h.energy[b]; ok {
				w.known, w.mj = w.known+1, w.mj+int64(math.Round(e*1000))
			}
			w.peak = max(w.peak, h.peak[b])
		}
	}
	if rig != uuid.Nil {
		w.days += float64(now-last) / lab.DayMS
	}
	return w
}

// drawHistory makes mountings, services, corrections and strokes of two rigs
// and two rams over some days, with scores and voids, as records.
func drawHistory(rt *rapid.T, w *world, opening int64) (*history, []record.Record) {
	h := &history{energy: map[lab.Body]float64{}, peak: map[lab.Body]float64{}, void: map[lab.Body]bool{}}
	var recs []record.Record
	for i, id := range []uuid.UUID{ram1, ram2} {
		recs = append(recs, w.stated(node1, labA, hlc.Time(i+1), id, &lab.Item{Class: lab.ClassRam, Serial: fmt.Sprint(i), OpeningStrokes: opening}))
	}
	for i := range rapid.IntRange(0, 40).Draw(rt, "facts") {
		at := drawStep(rt)
		rig := rapid.SampledFrom([]uuid.UUID{rig1, rig2}).Draw(rt, "rig")
		item := rapid.SampledFrom([]uuid.UUID{ram1, ram2}).Draw(rt, "item")
		f, uid := fact{at: at, clock: hlc.Time(10 + i)}, labtest.ID("fact", i)
		switch rapid.IntRange(0, 7).Draw(rt, "what") {
		case 0, 1:
			if rapid.IntRange(0, 4).Draw(rt, "taken off") == 0 {
				item = uuid.Nil
			}
			f.body = &lab.Mounting{Rig: rig, Position: "ram", Item: item, EffectiveAt: at}
		case 2:
			f.body = &lab.Service{Item: item, EffectiveAt: at}
		case 3:
			f.body = &lab.Correction{Item: item, EffectiveAt: at, Strokes: int64(rapid.IntRange(-9, 9).Draw(rt, "strokes")*2 + 1), Reason: "count"}
		default:
			b := labtest.Shot(rig, at.Time(), func(s *lab.Shot) { s.Kind = rapid.SampledFrom(lab.ShotKinds()).Draw(rt, "kind") })
			f.body = b
			if rapid.Bool().Draw(rt, "scored") {
				h.energy[b], h.peak[b] = rapid.Float64Range(0, 300).Draw(rt, "energy"), rapid.Float64Range(1, 200).Draw(rt, "peak")
				recs = append(recs, w.stated(node2, labA, f.clock, uid, labtest.Score(uid, 5, func(s *lab.Score) {
					s.Results["ram_energy"] = lab.Result{Value: h.energy[b], Unit: "J"}
					s.Results["peak_linear_acceleration"] = lab.Result{Value: h.peak[b], Unit: "g"}
				})))
			}
			if h.void[b] = rapid.Bool().Draw(rt, "void"); h.void[b] {
				recs = append(recs, w.stated(node1, labA, f.clock, uid, &lab.Void{Shot: uid, Reason: "strap"}))
			}
		}
		h.facts = append(h.facts, f)
		recs = append(recs, w.stated(node1, labA, f.clock, uid, f.body))
	}
	return h, recs
}

// drawStep gives times six hours apart, so that facts fall on midnights and on each other.
func drawStep(rt *rapid.T) lab.Time {
	return lab.At(labtest.Start()).Add(time.Duration(rapid.IntRange(-20, 20).Draw(rt, "step"))*6*time.Hour - 8*time.Hour)
}

// Whatever the order in which late shots, moves, services, corrections, scores
// and voids arrive, the counters are those of a tally sheet kept at the rig,
// and the tables are byte for byte those of a rebuild.
func TestWearEqualsTallySheet(t *testing.T) {
	w, again := openWorld(t), openWorld(t)
	var all worn
	rapid.Check(t, func(rt *rapid.T) {
		w.empty(rt)
		again.empty(rt)
		opening := int64(rapid.IntRange(0, 9).Draw(rt, "opening"))
		h, recs := drawHistory(rt, w, opening)
		again.together(recs)
		rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "order"), 0)).Shuffle(len(recs), func(i, j int) { recs[i], recs[j] = recs[j], recs[i] })
		w.together(recs)
		same(rt, w, again)
		now := drawStep(rt)
		for _, id := range []uuid.UUID{ram1, ram2} {
			got, want := w.worn(rt, id, now), h.replay(id, opening, now)
			if math.Abs(got.days-want.days) > 1e-9 {
				rt.Fatalf("mounted for %v days, want %v", got.days, want.days)
			}
			got.days = want.days
			if got != want {
				rt.Fatalf("at %s\n got %+v\nwant %+v", now, got, want)
			}
			all.strokes, all.shots, all.mj, all.corrected = all.strokes+want.strokes, all.shots+want.shots, all.mj+want.mj, all.corrected|want.corrected
		}
	})
	if all.strokes == 0 || all.shots == 0 || all.mj == 0 || all.corrected == 0 {
		t.Errorf("the histories compare nothing: %+v", all)
	}
}

func (w *world) worn(t tb, id uuid.UUID, now lab.Time) worn {
	t.Helper()
	u, err := w.RamUsage(w.ctx(), onlyA, id, now.Time())
	if err != nil {
		t.Fatalf("usage: %v", err)
	}
	x, err := w.Wear(w.ctx(), onlyA, id, now.Time())
	if err != nil {
		t.Fatalf("wear: %v", err)
	}
	if x.Hardest != nil && *x.Hardest.Figures.PeakG != x.HardestPeakG {
		t.Fatalf("the hardest shot has %g, not %g", *x.Hardest.Figures.PeakG, x.HardestPeakG)
	}
	return worn{since: u.StrokesSinceService, total: u.TotalStrokes, corrected: u.Corrected, strokes: x.Strokes, shots: x.Shots,
		known: x.EnergyOf, mj: int64(math.Round(x.EnergyJ * 1000)), days: x.DaysMounted, peak: x.HardestPeakG}
}

// By hand: the ram sits at rig 1 from day 0 for three days, is in the store for
// one, and at rig 2 from day 4 on. It sees the strokes of 95 g, 102 g (void) and
// a dry one at rig 1, and that of 88 g at rig 2; 120 + 130 + 110 = 360 J.
func TestWearByHand(t *testing.T) {
	w := openWorld(t)
	day := func(d float64) time.Time { return labtest.Start().Add(time.Duration(d * 24 * float64(time.Hour))) }
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R-1", OpeningStrokes: 4000})
	mount := func(n int, rig, item uuid.UUID, d float64) {
		w.say(labtest.ID("m", n), &lab.Mounting{Rig: rig, Position: "ram", Item: item, EffectiveAt: lab.At(day(d))})
	}
	mount(1, rig1, ram1, 0)
	mount(2, rig1, uuid.Nil, 3)
	mount(3, rig2, ram1, 4)
	shot := func(n int, rig uuid.UUID, d, peak, energy float64, kind string) {
		id := labtest.ID("w", n)
		w.say(id, labtest.Shot(rig, day(d), func(s *lab.Shot) { s.Kind = kind }))
		if peak > 0 {
			w.say(id, labtest.Score(id, 5.5, func(s *lab.Score) {
				s.Results["peak_linear_acceleration"] = lab.Result{Value: peak, Unit: "g"}
				s.Results["ram_energy"] = lab.Result{Value: energy, Unit: "J"}
			}))
		}
	}
	shot(4, rig2, 4.5, 88, 110, lab.ShotHit) // the late arrival first
	shot(1, rig1, 0.5, 95, 120, lab.ShotHit)
	shot(2, rig1, 1.5, 102, 130, lab.ShotHit)
	shot(3, rig1, 2.5, 0, 0, lab.ShotDry)
	shot(5, rig1, 3.5, 140, 200, lab.ShotHit) // another ram's
	shot(6, rig2, 3.5, 150, 210, lab.ShotHit)
	w.say(labtest.ID("w", 2), &lab.Void{Shot: labtest.ID("w", 2), Reason: "strap open"})
	w.say(labtest.ID("k"), &lab.Correction{Item: ram1, Strokes: 12, EffectiveAt: lab.At(day(2)), Reason: "dry strokes with the logger off"})
	now := lab.At(day(6))
	want := worn{since: 4016, total: 4016, corrected: 12, strokes: 4, shots: 2, known: 3, mj: 360_000, days: 5, peak: 102}
	if got := w.worn(t, ram1, now); got != want {
		t.Errorf("\n got %+v\nwant %+v", got, want)
	}
	x, err := w.Wear(w.ctx(), onlyA, ram1, day(6))
	if err != nil || x.Hardest == nil || x.Hardest.ID != labtest.ID("w", 2) || x.FirstMounted != lab.At(day(0)) {
		t.Errorf("hardest %+v, first mounted %s, %v", x.Hardest, x.FirstMounted, err)
	}
	w.say(labtest.ID("sv"), &lab.Service{Item: ram1, EffectiveAt: lab.At(day(1))})
	if got := w.worn(t, ram1, now); got.since != 12+3 || got.total != 4016 {
		t.Errorf("after a service on day 1 the counter shows %d of %d, want 15 of 4016", got.since, got.total)
	}
	w.say(labtest.ID("k"), &lab.Withdrawn{Doc: labtest.ID("k"), DocKind: lab.KindCorrection, Reason: "was counted"})
	if got := w.worn(t, ram1, now); got.since != 3 || got.total != 4004 || got.corrected != 0 {
		t.Errorf("with the correction withdrawn: %+v", got)
	}
}

func TestStates(t *testing.T) {
	w := openWorld(t)
	at := lab.At(labtest.Start())
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R-1"})
	state := func(t lab.Time) string {
		s, err := w.StateAt(w.ctx(), onlyA, ram1, t)
		if err != nil {
			w.t.Fatalf("state: %v", err)
		}
		return s.State()
	}
	w.say(labtest.ID("b"), &lab.ItemState{Item: ram1, State: lab.StateRetired, EffectiveAt: at + 200, Reason: "worn out"})
	w.say(labtest.ID("a"), &lab.ItemState{Item: ram1, State: lab.StateQuarantined, Location: "shelf 3", EffectiveAt: at + 100, Reason: "dropped"})
	for when, want := range map[lab.Time]string{at: lab.StateInService, at + 99: lab.StateInService, at + 100: lab.StateQuarantined, at + 199: lab.StateQuarantined, at + 200: lab.StateRetired} {
		if got := state(when); got != want {
			t.Errorf("at +%d ms: %q, want %q", when-at, got, want)
		}
	}
	all, err := w.States(w.ctx(), onlyA, ram1)
	if err != nil || len(all) != 2 || all[1].ItemState.Location != "shelf 3" {
		t.Errorf("history %+v, %v", all, err)
	}
	if l, err := w.States(w.ctx(), allOf(labB), ram1); err == nil {
		t.Errorf("another lab sees %v", l)
	}
}

// A record that a program of version 1 wrote has none of the later fields, and
// its item is in service, without a plan by days.
func TestItemOfVersion1(t *testing.T) {
	w := openWorld(t)
	raw, err := record.EncodeBody(map[string]any{"class": "ram", "serial": "R-1", "name": "", "service_every_strokes": 500, "opening_strokes": 40})
	if err != nil {
		t.Fatal(err)
	}
	r := w.stated(node1, labA, 5, ram1, &lab.Item{Class: "ram", Serial: "R-1"})
	r.Body, r.Schema = raw, 1
	w.apply(r)
	s, err := w.ServiceDue(w.ctx(), onlyA, ram1, labtest.Start())
	if err != nil || s.Left() != 460 || s.DueAt != 0 || s.Stated.State() != lab.StateInService || s.Item.Item.AssetNumber != "" {
		t.Errorf("%+v, %v", s, err)
	}
}

// By hand: mounted 91 days ago, 12 strokes on each of the last 91 days at the
// same time, so 1092 in 91 days, weeks of 84: φ = 1. With an opening count of
// 768 of an interval of 2000, 140 are left. scipy 1.10:
// 91*betaprime.ppf([0.05, 0.5, 0.95], 140, 1092.5) = 10.00938, 11.63712 and 13.45364 days.
func TestForecastByHand(t *testing.T) {
	w := openWorld(t)
	now := labtest.Start().AddDate(0, 0, 91)
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R-1", ServiceEveryStrokes: 2000, OpeningStrokes: 768})
	w.say(labtest.ID("m"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: lab.At(labtest.Start())})
	var recs []record.Record
	for d := range 91 {
		for i := range 12 {
			at := labtest.Start().Add(time.Duration(d)*24*time.Hour + time.Duration(i+1)*time.Minute)
			recs = append(recs, w.stated(node1, labA, hlc.Time(10000+d*12+i), labtest.ID("f", d, i), labtest.Shot(rig1, at)))
		}
	}
	w.together(recs)
	due := func() view.ServiceDue {
		s, err := w.ServiceDue(w.ctx(), onlyA, ram1, now)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	days := func(at lab.Time) float64 { return float64(at-lab.At(now)) / lab.DayMS }
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-4 {
			t.Errorf("%s in %.5f days, want %.5f", what, got, want)
		}
	}
	s := due()
	if s.Left() != 140 || !s.IsNear() || s.IsDue() || math.Abs(s.PerDay-12) > 1e-6 {
		t.Errorf("left %d, near %v, due %v, %v a day", s.Left(), s.IsNear(), s.IsDue(), s.PerDay)
	}
	near("early", days(s.Early), 10.00938)
	near("about", days(s.About), 11.63712)
	near("late", days(s.Late), 13.45364)

	edit := func(field string, v any) {
		e, err := lab.NewEdit(ram1, lab.KindItem, field, v)
		if err != nil {
			t.Fatal(err)
		}
		w.say(ram1, e)
	}
	// Every 102 days since the first mounting: due in 11 days, between early and about.
	edit("service_every_days", 102)
	s = due()
	near("early", days(s.Early), 10.00938)
	near("by days", days(s.About), 11)
	near("late", days(s.Late), 11)
	if s.DaysLeft != 11 || s.IsDue() {
		t.Errorf("%d days left, due %v", s.DaysLeft, s.IsDue())
	}
	edit("service_every_days", 90)
	if s = due(); s.DaysLeft != -1 || !s.IsDue() {
		t.Errorf("a day over: %d days left, due %v", s.DaysLeft, s.IsDue())
	}
	// A service resets both; the early warning of a plan by strokes can be set.
	w.say(labtest.ID("sv"), &lab.Service{Item: ram1, EffectiveAt: lab.At(now)})
	if s = due(); s.DaysLeft != 90 || s.Left() != 2000 || s.IsNear() {
		t.Errorf("after the service %d days and %d strokes are left, near %v", s.DaysLeft, s.Left(), s.IsNear())
	}
	edit("warn_strokes", 2000)
	if s = due(); !s.IsNear() {
		t.Error("a lead of 2000 strokes does not warn with 2000 left")
	}
}

func TestNoForecastSaysWhy(t *testing.T) {
	w := openWorld(t)
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R-1", ServiceEveryStrokes: 100})
	now := labtest.Start().AddDate(0, 1, 0)
	s, err := w.ServiceDue(w.ctx(), onlyA, ram1, now)
	if err != nil || s.About != 0 || s.WhyNot == "" {
		t.Errorf("never mounted: about %s, %q, %v", s.About, s.WhyNot, err)
	}
	w.say(labtest.ID("m"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: lab.At(labtest.Start())})
	if s, err = w.ServiceDue(w.ctx(), onlyA, ram1, now); err != nil || s.About != 0 || s.WhyNot != "no forecast by strokes: it was not used lately" {
		t.Errorf("idle: about %s, %q, %v", s.About, s.WhyNot, err)
	}
}

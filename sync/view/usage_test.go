package view_test

import (
	"cmp"
	"fmt"
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

type fact struct {
	at    lab.Time
	clock hlc.Time
	body  lab.Body
}

// replay walks through the history of a lab by hand, one stroke at a time.
func replay(facts []fact, item uuid.UUID, opening int64, now lab.Time) (since, total int64) {
	slices.SortStableFunc(facts, func(a, b fact) int {
		return cmp.Or(cmp.Compare(a.at, b.at), rank(a.body)-rank(b.body), cmp.Compare(a.clock, b.clock))
	})
	since, total = opening, opening
	type place struct {
		rig      uuid.UUID
		position string
	}
	sits := map[place]uuid.UUID{}
	for _, f := range facts {
		if f.at > now {
			break
		}
		switch b := f.body.(type) {
		case *lab.Mounting:
			for p, i := range sits {
				if i == b.Item {
					delete(sits, p)
				}
			}
			if p := (place{b.Rig, b.Position}); b.Item == uuid.Nil {
				delete(sits, p)
			} else {
				sits[p] = b.Item
			}
		case *lab.Service:
			if b.Item == item {
				since = 0
			}
		case *lab.Shot, *lab.Sighting:
			var rig uuid.UUID
			switch s := b.(type) {
			case *lab.Shot:
				if s.Kind != lab.ShotSecondFile {
					rig = s.Rig
				}
			case *lab.Sighting:
				rig = s.Rig
			}
			for p, i := range sits {
				if i == item && p.rig == rig {
					since, total = since+1, total+1
				}
			}
		}
	}
	return since, total
}

// rank: at the same instant mountings and services come before strokes.
func rank(b lab.Body) int {
	switch b.(type) {
	case *lab.Mounting, *lab.Service:
		return 0
	case *lab.Correction:
		return 1
	}
	return 2
}

func TestUsageEqualsReplay(t *testing.T) {
	w := openWorld(t)
	var worn int64
	rapid.Check(t, func(rt *rapid.T) {
		w.empty(rt)
		opening := int64(rapid.IntRange(0, 9).Draw(rt, "opening"))
		var recs []record.Record
		for i, id := range []uuid.UUID{ram1, ram2} {
			recs = append(recs, w.stated(node1, labA, hlc.Time(i+1), id, &lab.Item{Class: lab.ClassRam, Serial: fmt.Sprint(i), OpeningStrokes: opening}))
		}
		// Six hours a step over some days, so that facts fall on midnights and on each other.
		draw := func() lab.Time {
			return lab.At(labtest.Start()).Add(time.Duration(rapid.IntRange(-20, 20).Draw(rt, "step"))*6*time.Hour - 8*time.Hour)
		}
		var facts []fact
		for i := range rapid.IntRange(0, 40).Draw(rt, "facts") {
			rig := rapid.SampledFrom([]uuid.UUID{rig1, rig2}).Draw(rt, "rig")
			f := fact{at: draw(), clock: hlc.Time(10 + i)}
			uid := labtest.ID("fact", i)
			switch rapid.IntRange(0, 5).Draw(rt, "what") {
			case 0, 1:
				f.body = &lab.Mounting{Rig: rig, Position: rapid.SampledFrom([]string{"ram", "spare"}).Draw(rt, "position"), Item: rapid.SampledFrom([]uuid.UUID{ram1, ram2, uuid.Nil}).Draw(rt, "item"), EffectiveAt: f.at}
			case 2:
				f.body = &lab.Service{Item: rapid.SampledFrom([]uuid.UUID{ram1, ram2}).Draw(rt, "served"), EffectiveAt: f.at}
			case 3:
				f.body = &lab.Sighting{Shot: labtest.ID("x"), Rig: rig, FileName: "x", EffectiveAt: f.at}
				recs = append(recs, w.stated(node1, labA, f.clock, uid, &lab.SightingSettled{Sighting: uid, CountStroke: true}))
			default:
				f.body = labtest.Shot(rig, f.at.Time(), func(s *lab.Shot) { s.Kind = rapid.SampledFrom(lab.ShotKinds()).Draw(rt, "kind") })
			}
			facts = append(facts, f)
			recs = append(recs, w.stated(node1, labA, f.clock, uid, f.body))
		}
		w.together(recs)
		now := draw()
		for _, id := range []uuid.UUID{ram1, ram2} {
			u, err := w.RamUsage(w.ctx(), onlyA, id, now.Time())
			if err != nil {
				rt.Fatalf("usage: %v", err)
			}
			since, total := replay(facts, id, opening, now)
			if u.StrokesSinceService != since || u.TotalStrokes != total {
				rt.Fatalf("since service %d, total %d; replayed by hand %d and %d", u.StrokesSinceService, u.TotalStrokes, since, total)
			}
			worn += total - opening
		}
	})
	if worn == 0 {
		t.Error("no history wore a ram: the comparison compares nothing")
	}
}

func TestUsageOfAFilledLab(t *testing.T) {
	n := labtest.Open(t)
	f := labtest.Fill(t, n.Ledger, 700)
	u, err := n.Reader.RamUsage(t.Context(), allOf(f.Lab), f.Ram, f.Last)
	if err != nil {
		t.Fatal(err)
	}
	if want := int64(700 + 40); u.TotalStrokes != want || u.StrokesSinceService != f.SinceService {
		t.Errorf("total %d, since service %d; want %d and %d", u.TotalStrokes, u.StrokesSinceService, want, f.SinceService)
	}
	if u.Interval != 500 || !u.Near() || u.Due() || u.Left() != 500-f.SinceService {
		t.Errorf("interval %d, near %v, due %v, left %d", u.Interval, u.Near(), u.Due(), u.Left())
	}
	if u.Rig != f.Rig || u.Position != "ram" || u.LastService == nil {
		t.Errorf("sits at %v %q, last service %v", u.Rig, u.Position, u.LastService)
	}
	all, err := n.Reader.Usages(t.Context(), allOf(f.Lab), lab.ClassRam, f.Last, view.Page{})
	if err != nil || len(all.Rows) != 1 || all.Rows[0].TotalStrokes != u.TotalStrokes {
		t.Errorf("usages of rams = %+v, %v", all, err)
	}
}

// A void shot wears, a shot that is moved in time moves its wear, and a late
// service takes strokes off without a recount.
func TestUsageFollowsCorrections(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R", ServiceEveryStrokes: 3})
	w.say(labtest.ID("m"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: lab.At(at)})
	for i := range 4 {
		w.say(labtest.ID("s", i), labtest.Shot(rig1, at.Add(time.Duration(i+1)*time.Hour)))
	}
	now := at.Add(48 * time.Hour)
	check := func(step string, since, total int64) {
		t.Helper()
		u, err := w.RamUsage(w.ctx(), onlyA, ram1, now)
		if err != nil || u.StrokesSinceService != since || u.TotalStrokes != total {
			t.Errorf("%s: %d since service, %d in total, %v; want %d and %d", step, u.StrokesSinceService, u.TotalStrokes, err, since, total)
		}
	}
	check("four shots", 4, 4)
	w.say(labtest.ID("s", 1), &lab.Void{Shot: labtest.ID("s", 1), Reason: "strap"})
	check("a void shot wears", 4, 4)
	w.say(labtest.ID("sv"), &lab.Service{Item: ram1, EffectiveAt: lab.At(at.Add(150 * time.Minute))})
	check("a service typed in later", 2, 4)
	w.say(labtest.ID("sv"), &lab.Withdrawn{Doc: labtest.ID("sv"), DocKind: lab.KindService, Reason: "other ram"})
	check("the service withdrawn", 4, 4)
	w.say(labtest.ID("sv"), &lab.Withdrawn{Doc: labtest.ID("sv"), DocKind: lab.KindService, Reason: "was right", Lifted: true})
	check("and stated again", 2, 4)
	e, err := lab.NewEdit(labtest.ID("s", 3), lab.KindShot, "effective_at", lab.At(at.Add(2*time.Hour)))
	if err != nil {
		t.Fatal(err)
	}
	w.say(labtest.ID("s", 3), e)
	check("a shot moved before the service", 1, 4)
	w.say(labtest.ID("g"), &lab.Sighting{Shot: labtest.ID("s", 0), Rig: rig1, FileName: "copy.csv", EffectiveAt: lab.At(at.Add(30 * time.Hour))})
	check("a sighting does not count by itself", 1, 4)
	w.say(labtest.ID("g"), &lab.SightingSettled{Sighting: labtest.ID("g"), CountStroke: true})
	check("settled as a stroke", 2, 5)
	w.say(labtest.ID("m2"), &lab.Mounting{Rig: rig2, Position: "ram", Item: ram1, EffectiveAt: lab.At(at.Add(3 * time.Hour))})
	check("mounted elsewhere from the third shot on", 0, 3)
}

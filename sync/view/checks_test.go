package view_test

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thudbook/sync/hlc"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// checkAt states a system check with a peak in g, n hours after the start.
func checkAt(w *world, name string, hours float64, peak float64) uuid.UUID {
	id := labtest.ID("check", name)
	w.say(id, labtest.Shot(rig1, labtest.Start().Add(time.Duration(hours*float64(time.Hour))), func(s *lab.Shot) {
		s.Kind, s.ReferencePad, s.Specimen, s.Location = lab.ShotSystemCheck, "P-1", "", ""
	}))
	w.say(id, labtest.Score(id, 5.5, func(s *lab.Score) {
		s.Results["peak_linear_acceleration"] = lab.Result{Value: peak, Unit: "g"}
		s.Results["hic15"] = lab.Result{Value: 2 * peak}
	}))
	return id
}

// A failed check flags the shots on both sides of it up to the next good ones,
// whatever came first; the flag goes with the check.
func TestFailedCheckFlagsShots(t *testing.T) {
	w := openWorld(t)
	hour := func(n float64) time.Time { return labtest.Start().Add(time.Duration(n * float64(time.Hour))) }
	w.say(labtest.ID("limits"), &lab.CheckLimits{Rig: rig1, Pad: "p-1", EffectiveAt: lab.At(hour(-1)),
		Limits: []lab.CheckLimit{{Result: lab.CheckPeak, Least: new(90.0), Most: new(110.0), Source: "the pad's certificate"}}})
	at := []float64{0.5, 1.5, 2.5, 3.5}
	for i, h := range at {
		w.say(labtest.ID("shot", i), labtest.Shot(rig1, hour(h)))
	}
	w.say(labtest.ID("elsewhere"), labtest.Shot(rig2, hour(1.5)))
	flagged := func() string {
		t.Helper()
		out := ""
		for i := range at {
			fs, err := w.RigFlags(t.Context(), scope.All(), labtest.ID("shot", i))
			if err != nil {
				t.Fatal(err)
			}
			if len(fs) == 0 {
				out += "-"
				continue
			}
			if out += "F"; fs[0].Code != lab.FlagCheckFailed || !strings.Contains(fs[0].Text, "peak linear acceleration 120 g, above the limit of 110 g") {
				t.Errorf("shot %d: %+v", i, fs[0])
			}
		}
		return out
	}
	want := func(text, when string) {
		t.Helper()
		if got := flagged(); got != text {
			t.Errorf("%s: flagged %s, want %s", when, got, text)
		}
	}
	bad := checkAt(w, "bad", 2, 120)
	want("FFFF", "one failed check, no good one") // it is after the first two and before the others
	checkAt(w, "morning", 1, 100)
	want("-FFF", "a good check is entered late")
	checkAt(w, "again", 3, 101)
	want("-FF-", "good again")
	if fs, err := w.RigFlags(t.Context(), scope.All(), labtest.ID("elsewhere")); err != nil || len(fs) != 0 {
		t.Errorf("another rig: %v %v", fs, err)
	}
	if fs, err := w.RigFlags(t.Context(), onlyA, bad); err != nil || len(fs) != 0 {
		t.Errorf("the check itself: %v %v", fs, err)
	}
	w.say(bad, &lab.Void{Shot: bad, Reason: "pad lay loose"})
	want("----", "the failed check is void")
	w.say(bad, &lab.Void{Shot: bad, Reason: "it did not", Lifted: true})
	want("-FF-", "it counts again")
	w.say(labtest.ID("limits"), &lab.Withdrawn{Doc: labtest.ID("limits"), DocKind: lab.KindCheckLimits, Reason: "of another pad"})
	want("----", "the limits are withdrawn")
	if c, err := w.Check(t.Context(), onlyA, bad); err != nil || c.State != view.CheckUndecided {
		t.Errorf("without limits and history: %+v %v", c, err)
	}
}

// After ten good checks the control chart judges; what signals does not widen
// it, and after a change at the rig a person has it start anew.
func TestChecksChart(t *testing.T) {
	w := openWorld(t)
	for i := range 10 {
		checkAt(w, string(rune('a'+i)), float64(i), 100+float64(i%3))
	}
	checkAt(w, "low", 10, 80)
	checkAt(w, "low again", 11, 80)
	last := checkAt(w, "fine", 12, 101)
	rows, err := w.Checks(t.Context(), onlyA, rig1, 100)
	if err != nil || len(rows) != 13 {
		t.Fatalf("%d checks, %v", len(rows), err)
	}
	states := ""
	for i := len(rows) - 1; i >= 0; i-- {
		states += string(rows[i].State[:1])
	}
	if states != "uuuuuuuuuuffg" {
		t.Errorf("states %s", states)
	}
	p := rows[1].Results[0]
	if p.Chart == nil || p.Chart.N != 10 || p.Signal != "down" || p.Limit != nil || p.Jumped {
		t.Errorf("the second low check: %+v", p)
	}
	if q := rows[2].Results[0]; !q.Jumped || q.Range == nil || *q.Range != 20 {
		t.Errorf("the first low check: %+v", q)
	}
	if got := *rows[0].Results[2].Value; got != 101/5.5 {
		t.Errorf("peak per speed %g, want %g", got, 101/5.5)
	}
	one, err := w.Check(t.Context(), onlyA, last)
	if err != nil || one.State != view.CheckGood || one.History != 10 {
		t.Errorf("alone: %+v %v", one, err)
	}
	w.say(labtest.ID("anew"), &lab.CheckLimits{Rig: rig1, Pad: "P-1", Anew: true, Reason: "another head form", EffectiveAt: lab.At(labtest.Start().Add(630 * time.Minute))})
	if one, err = w.Check(t.Context(), onlyA, last); err != nil || one.State != view.CheckUndecided || one.History != 1 {
		t.Errorf("started anew: %+v %v", one, err)
	}
}

// Only checks with one head form, neck, impactor face and target speed are held
// against each other; who mounts the earlier part again goes on with its series,
// and a mounting that is entered late sorts the checks anew.
func TestChecksOfAnotherSetup(t *testing.T) {
	w := openWorld(t)
	at := func(hours float64) lab.Time {
		return lab.At(labtest.Start().Add(time.Duration(hours * float64(time.Hour))))
	}
	mount := func(name, place string, item string, hours float64) {
		t.Helper()
		w.say(labtest.ID("mount", name), &lab.Mounting{Rig: rig1, Position: place, Item: labtest.ID(item), EffectiveAt: at(hours)})
	}
	look := func(id uuid.UUID, state view.CheckState, history int, first bool, when string) {
		t.Helper()
		c, err := w.Check(t.Context(), onlyA, id)
		if err != nil || c.State != state || c.History != history || c.First != first {
			t.Errorf("%s: %s with %d, first %t, want %s with %d, first %t; %v", when, c.State, c.History, c.First, state, history, first, err)
		}
	}
	mount("a", "head form", "HF-1", -5)
	mount("n", "neck", "N-1", -5)
	mount("f", "impactor face", "F-1", -5)
	for i := range 10 {
		checkAt(w, string(rune('a'+i)), float64(i), 100+float64(i%3))
	}
	same := checkAt(w, "same", 10, 101)
	look(same, view.CheckGood, 10, false, "the same setup")
	n := 11.0
	for _, other := range []struct{ place, item, back string }{{"Head  Form", "HF-2", "HF-1"}, {"neck", "N-2", "N-1"}, {"impactor face", "F-2", "F-1"}, {"neck", "", "N-1"}} {
		if other.item == "" {
			w.say(labtest.ID("mount", other, "off"), &lab.Mounting{Rig: rig1, Position: other.place, EffectiveAt: at(n)})
		} else {
			mount("on"+other.item, other.place, other.item, n)
		}
		look(checkAt(w, "other "+other.place+other.item, n+1, 140), view.CheckUndecided, 0, true, "another "+other.place)
		mount("back"+other.place+other.item, other.place, other.back, n+2)
		look(checkAt(w, "back "+other.place+other.item, n+3, 101), view.CheckGood, 11+int(n-11)/4, false, "back from another "+other.place)
		n += 4
	}
	fast := labtest.ID("fast")
	w.say(fast, labtest.Shot(rig1, at(n).Time(), func(s *lab.Shot) { s.Kind, s.ReferencePad, s.TargetSpeedMS = lab.ShotSystemCheck, "P-1", new(7.0) }))
	w.say(fast, labtest.Score(fast, 7, func(s *lab.Score) {
		s.Results["peak_linear_acceleration"] = lab.Result{Value: 180, Unit: "g"}
	}))
	look(fast, view.CheckUndecided, 0, true, "another target speed")
	bad := checkAt(w, "bad", n+1, 140)
	look(bad, view.CheckFailed, 15, false, "with the first setup")
	mount("late", "neck", "N-3", n+0.5)
	look(bad, view.CheckUndecided, 0, true, "with another neck, entered late")
	w.say(labtest.ID("mount", "elsewhere"), &lab.Mounting{Rig: rig2, Position: "neck", Item: labtest.ID("N-3"), EffectiveAt: at(n + 0.75)})
	c, err := w.CheckSetup(t.Context(), onlyA, rig1, at(n+1), new(5.5))
	if want := (view.CheckSetup{HeadForm: labtest.ID("HF-1"), ImpactorFace: labtest.ID("F-1"), SpeedMMS: 5500}); err != nil || c != want {
		t.Errorf("with the neck put on another rig: %+v %v, want %+v", c, err, want)
	}
}

// Whatever the order of arrival, a check that is judged alone comes out as it
// does in the list, also beyond the checks that the chart rests on.
func TestCheckAloneAsInTheList(t *testing.T) {
	w := openWorld(t)
	var failed, good int
	rapid.Check(t, func(rt *rapid.T) {
		w.empty(rt)
		var recs []record.Record
		n := rapid.IntRange(1, 45).Draw(rt, "checks")
		for i := range n {
			id := labtest.ID("check", i)
			at := labtest.Start().Add(time.Duration(rapid.IntRange(0, 300).Draw(rt, "minute")) * time.Minute)
			pad := rapid.SampledFrom([]string{"P-1", "p-1", "P-1", "P-2"}).Draw(rt, "pad")
			peak := 100 + rapid.Float64Range(-4, 4).Draw(rt, "peak")
			speed := rapid.SampledFrom([]float64{5.5, 5.5, 5.5, 5.5, 7}).Draw(rt, "speed")
			if rapid.IntRange(0, 9).Draw(rt, "odd") == 0 {
				peak = 140
			}
			recs = append(recs, w.stated(node1, labA, 1, id, labtest.Shot(rig1, at, func(s *lab.Shot) {
				s.Kind, s.ReferencePad, s.TargetSpeedMS = lab.ShotSystemCheck, pad, new(speed)
			})),
				w.stated(node2, labA, 2, id, labtest.Score(id, 5.5, func(s *lab.Score) {
					s.Results["peak_linear_acceleration"] = lab.Result{Value: peak, Unit: "g"}
				})))
		}
		if rapid.Bool().Draw(rt, "anew") {
			recs = append(recs, w.stated(node2, labA, 3, labtest.ID("anew"), &lab.CheckLimits{Rig: rig1, Pad: "P-1", Anew: true, Reason: "neck", EffectiveAt: lab.At(labtest.Start().Add(time.Hour))}))
		}
		for i := range rapid.IntRange(0, 2).Draw(rt, "mountings") {
			at := labtest.Start().Add(time.Duration(rapid.IntRange(-1, 300).Draw(rt, "minute of mounting")) * time.Minute)
			recs = append(recs, w.stated(node2, labA, hlc.Time(10+i), labtest.ID("mount", i), &lab.Mounting{Rig: rig1, Position: lab.ClassNeck, Item: labtest.ID("neck", rapid.IntRange(0, 1).Draw(rt, "neck")), EffectiveAt: lab.At(at)}))
		}
		rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "order"), 0)).Shuffle(len(recs), func(i, j int) { recs[i], recs[j] = recs[j], recs[i] })
		w.together(recs)
		rows, err := w.Checks(w.ctx(), onlyA, rig1, 100)
		if err != nil || len(rows) != n {
			rt.Fatalf("%d of %d checks: %v", len(rows), n, err)
		}
		for i := range rows {
			one, err := w.Check(w.ctx(), onlyA, rows[i].ID)
			if err != nil {
				rt.Fatal(err)
			}
			a, b := &rows[i], one
			if a.Setup != b.Setup || a.First != b.First || a.State != b.State || a.History != b.History || a.Words() != b.Words() || (a.Results[0].Range == nil) != (b.Results[0].Range == nil) || a.Results[0].Range != nil && *a.Results[0].Range != *b.Results[0].Range {
				rt.Fatalf("in the list %s %d %q, alone %s %d %q", a.State, a.History, a.Words(), b.State, b.History, b.Words())
			}
			switch a.State {
			case view.CheckFailed:
				failed++
			case view.CheckGood:
				good++
			}
		}
	})
	if failed == 0 || good == 0 {
		t.Errorf("%d failed and %d good checks were drawn; both must occur", failed, good)
	}
}

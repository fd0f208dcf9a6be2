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
	"thudbook/sync/view"
)

// plans is a world with two hits on a specimen of a campaign, five minutes apart.
func plans(t *testing.T, k *lab.Campaign) (w *world, campaign, second uuid.UUID) {
	t.Helper()
	w = openWorld(t)
	campaign, second = labtest.ID("campaign"), labtest.ID("shot", 2)
	k.Name, k.Specimens = "Cold guards", []string{"H-01"}
	w.say(campaign, k)
	for i, id := range []uuid.UUID{labtest.ID("shot", 1), second} {
		s := labtest.Shot(rig1, labtest.Start().Add(time.Duration(5*i)*time.Minute))
		s.Specimen, s.Location, s.Condition, s.TargetSpeedMS, s.SpeedMS = "h-01", "front", "cold", new(5.5), new(5.62)
		s.OutOfChamberS, s.SinceLastImpactS = new(90.0), nil
		w.say(id, s)
	}
	return w, campaign, second
}

func (w *world) edit(doc uuid.UUID, field string, value any) {
	w.t.Helper()
	e, err := lab.NewEdit(doc, lab.KindCampaign, field, value)
	if err != nil {
		w.t.Fatalf("edit: %v", err)
	}
	w.say(doc, e)
}

// flags gives the flags of a shot by code.
func (w *world) flags(shot uuid.UUID) map[string]string {
	w.t.Helper()
	all, err := w.RigFlags(w.ctx(), onlyA, shot)
	if err != nil {
		w.t.Fatalf("flags: %v", err)
	}
	out := map[string]string{}
	for _, f := range all {
		out[f.Code] += f.Text
	}
	return out
}

// A campaign that is corrected is what the shots before are judged by from then
// on, and they say by what they were judged before.
func TestJudgedByThePlanInForce(t *testing.T) {
	w, campaign, shot := plans(t, &lab.Campaign{LeastRestS: 600, MostOutOfChamberS: 120, Cells: []lab.Cell{{Location: "Front", TargetSpeedMS: 5.5, ToleranceMS: 0.1, Planned: 2}}})
	if f := w.flags(shot); f[lab.FlagRestTooShort] != "it was hit 5 min after its last hit; the campaign asks for 10 min" || len(f) != 1 {
		t.Fatalf("by the first plan: %v", f)
	}
	if f := w.flags(labtest.ID("shot", 1)); len(f) != 0 {
		t.Errorf("the first hit has no rest to keep: %v", f)
	}
	w.edit(campaign, "least_rest_s", 240)
	w.edit(campaign, "most_out_of_chamber_s", 60)
	w.edit(campaign, "cells", []lab.Cell{{Location: "Front", TargetSpeedMS: 5.5, ToleranceMS: 0.2, Planned: 2}})
	f := w.flags(shot)
	if _, still := f[lab.FlagRestTooShort]; still || f[lab.FlagOutTooLong] != "it was out of the chamber for 1 min 30 s; the campaign allows 1 min" {
		t.Errorf("by the plan in force: %v", f)
	}
	for _, want := range []string{`"Cold guards" was changed on`, "rest between hits: at least 4 min, was at least 10 min", "out of the chamber: at most 1 min, was at most 2 min",
		"5.50 ± 0.2 m/s (its speed is within), was 5.50 ± 0.1 m/s (its speed is outside)", "by the plan of then: it was hit 5 min after its last hit"} {
		if !strings.Contains(f[lab.FlagPlanChanged], want) {
			t.Errorf("the change lacks %q: %s", want, f[lab.FlagPlanChanged])
		}
	}
	w.edit(campaign, "cells", []lab.Cell{{Location: "Front", TargetSpeedMS: 7.4, ToleranceMS: 0.2, Planned: 2}})
	if text := w.flags(shot)[lab.FlagPlanChanged]; !strings.Contains(text, "the hit's cell: none, target speed not in the plan, was 5.50 ± 0.1 m/s") {
		t.Errorf("another target speed: %s", text)
	}
	w.edit(campaign, "specimens", []string{"H-02"})
	if f := w.flags(shot); len(f) != 1 || !strings.Contains(f[lab.FlagPlanChanged], "the specimen: not in the plan, was in the plan") {
		t.Errorf("a specimen that was taken out of the plan: %v", f)
	}
}

// Back to what held when the shot was recorded, or a change of nothing that
// judges it, is no change.
func TestPlanThatSaysTheSame(t *testing.T) {
	w, campaign, shot := plans(t, &lab.Campaign{AcceptanceLimits: []lab.Limit{{Result: "hic15", Most: 700}}})
	w.edit(campaign, "acceptance_limits", []lab.Limit{{Result: "hic15", Most: 500}})
	if f := w.flags(shot); len(f) != 1 || !strings.Contains(f[lab.FlagPlanChanged], "limit of hic15: at most 500, was at most 700") {
		t.Errorf("a limit was changed: %v", f)
	}
	w.edit(campaign, "acceptance_limits", []lab.Limit{{Result: "hic15", Most: 700}})
	w.edit(campaign, "note", "of the spring")
	w.edit(campaign, "specimens", []string{"H-02", "H-01"})
	if f := w.flags(shot); len(f) != 0 {
		t.Errorf("the plan says what it said: %v", f)
	}
}

// A hit that arrives later, or is assigned later, shortens the rest of the next.
func TestRestByAHitThatArrivesLate(t *testing.T) {
	w, _, shot := plans(t, &lab.Campaign{LeastRestS: 120})
	if f := w.flags(shot); len(f) != 0 {
		t.Fatalf("five minutes of rest: %v", f)
	}
	late := labtest.Shot(rig2, labtest.Start().Add(4*time.Minute))
	late.Specimen, late.Condition = "H-01", "cold"
	w.sayAs(node2, labA, labtest.ID("late"), late)
	if f := w.flags(shot); f[lab.FlagRestTooShort] != "it was hit 1 min after its last hit; the campaign asks for 2 min" {
		t.Errorf("one minute of rest: %v", f)
	}
	e, err := lab.NewEdit(shot, lab.KindShot, "since_last_impact_s", 300)
	if err != nil {
		t.Fatal(err)
	}
	w.say(shot, e)
	if f := w.flags(shot); len(f) != 0 {
		t.Errorf("a person corrected the rest: %v", f)
	}
}

// What a program of before flagged by the plan of its day stays readable, and is
// not taken for what the plan in force says.
func TestFlagOfADayBefore(t *testing.T) {
	w, _, shot := plans(t, &lab.Campaign{})
	w.say(shot, labtest.Score(shot, 5.5, func(s *lab.Score) {
		s.Flags = []lab.Flag{{Code: lab.FlagRestTooShort, Text: "it was hit 5 min after its last hit; the campaign asks for 10 min"}}
	}))
	scores, err := w.Scores(w.ctx(), onlyA, shot)
	if err != nil || len(scores) != 1 || scores[0].Score.Flags[0].Code != lab.FlagJudgedThen || !strings.Contains(scores[0].Score.Flags[0].Text, "rest too short: it was hit 5 min") {
		t.Errorf("scores %+v, %v", scores, err)
	}
	row, err := w.Shot(w.ctx(), onlyA, shot)
	if err != nil || len(row.Figures.Flags) != 1 || row.Figures.Flags[0] != lab.FlagJudgedThen {
		t.Errorf("row %+v, %v", row.Figures, err)
	}
}

// What is said of a shot by the plan of then and by the one in force is the same
// in whatever order plan, edits and shots of several nodes arrive (rule I5).
func TestJudgedInAnyOrder(t *testing.T) {
	worlds := []*world{openWorld(t), openWorld(t)}
	campaign, changed := labtest.ID("campaign"), 0
	rapid.Check(t, func(rt *rapid.T) {
		for _, w := range worlds {
			w.empty(rt)
		}
		var recs []record.Record
		add := func(least, most int, uid uuid.UUID, b lab.Body) {
			node := rapid.SampledFrom([]uuid.UUID{node1, node2}).Draw(rt, "node")
			recs = append(recs, worlds[0].stated(node, labA, hlc.Time(rapid.IntRange(least, most).Draw(rt, "clock")), uid, b))
		}
		add(1, 9, campaign, &lab.Campaign{Name: "Guards", Specimens: []string{"H-01"}, LeastRestS: 600})
		for i := range rapid.IntRange(1, 4).Draw(rt, "edits") {
			e, err := lab.NewEdit(campaign, lab.KindCampaign, "least_rest_s", 60*(1+i))
			if err != nil {
				rt.Fatalf("edit: %v", err)
			}
			add(5, 20, campaign, e)
		}
		for i := range rapid.IntRange(1, 3).Draw(rt, "shots") {
			s := labtest.Shot(rig1, labtest.Start().Add(time.Duration(rapid.IntRange(0, 9).Draw(rt, "minute"))*time.Minute))
			s.Specimen, s.SinceLastImpactS = "H-01", nil
			add(5, 20, labtest.ID("shot", i), s)
		}
		worlds[0].together(recs)
		rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "order"), 0)).Shuffle(len(recs), func(i, j int) { recs[i], recs[j] = recs[j], recs[i] })
		worlds[1].apply(recs...)
		same(rt, worlds[0], worlds[1])
		changed += sameFlags(rt, worlds[0], worlds[1])
	})
	if changed == 0 {
		t.Error("no history changed a plan after a shot")
	}
}

// A hit of which no file came loaded the specimen all the same: the rest is
// counted from it, until its entry is taken back.
func TestRestByAHitWithoutAFile(t *testing.T) {
	w, _, shot := plans(t, &lab.Campaign{LeastRestS: 120})
	bare := labtest.ID("bare")
	b := &lab.Strokes{Rig: rig2, Kind: lab.StrokeNoFile, Number: 1, Specimen: "h-01 ", Location: "Front", EffectiveAt: lab.At(labtest.Start().Add(4 * time.Minute))}
	w.say(labtest.ID("other"), &lab.Strokes{Rig: rig2, Kind: lab.StrokeNoFile, Number: 1, Specimen: "H-011", EffectiveAt: b.EffectiveAt})
	w.say(labtest.ID("nothing"), &lab.Strokes{Rig: rig2, Kind: lab.StrokeNoFile, Number: 1, EffectiveAt: b.EffectiveAt})
	if f := w.flags(shot); len(f) != 0 {
		t.Fatalf("five minutes of rest: %v", f)
	}
	w.sayAs(node2, labA, bare, b)
	if f := w.flags(shot); f[lab.FlagRestTooShort] != "it was hit 1 min after its last hit; the campaign asks for 2 min" {
		t.Errorf("one minute of rest: %v", f)
	}
	before := b.EffectiveAt + 1
	if h, err := w.LastHit(w.ctx(), onlyA, "H-01", before); err != nil || h == nil || h.At != b.EffectiveAt || h.Shot != uuid.Nil {
		t.Errorf("last hit: %+v %v", h, err)
	}
	if h, err := w.LastHit(w.ctx(), onlyA, "H-01", b.EffectiveAt); err != nil || h == nil || h.Shot != labtest.ID("shot", 1) {
		t.Errorf("last hit before it: %+v %v", h, err)
	}
	if l, err := w.UnfiledHits(w.ctx(), onlyA, "H-01", view.Page{}); err != nil || len(l.Rows) != 1 || l.Rows[0].ID != bare {
		t.Errorf("hits without a file: %+v %v", l.Rows, err)
	}
	w.say(bare, &lab.Withdrawn{Doc: bare, DocKind: lab.KindStrokes, Reason: "entered by mistake"})
	if f := w.flags(shot); len(f) != 0 {
		t.Errorf("the entry was taken back: %v", f)
	}
	if h, err := w.LastHit(w.ctx(), onlyA, "H-01", before); err != nil || h == nil || h.Shot != labtest.ID("shot", 1) {
		t.Errorf("last hit without it: %+v %v", h, err)
	}
}

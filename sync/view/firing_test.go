package view_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/view"
)

// written lists the open steps as "specimen location hit", in their order.
func written(o view.RunOrder) string {
	var out []string
	for _, s := range o.Steps {
		if s.State == view.StepOpen {
			out = append(out, s.Specimen+" "+s.Location+" "+string(rune('0'+s.Hit)))
		}
	}
	return strings.Join(out, ", ")
}

func TestRunOrder(t *testing.T) {
	w := openWorld(t)
	c := labtest.ID("campaign", 1)
	w.say(c, &lab.Campaign{Name: "Guards", Specimens: []string{"H-01", "H-02"}, Cells: []lab.Cell{
		{Location: "front", Condition: "ambient", TargetSpeedMS: 5.5, ToleranceMS: 0.1, Planned: 2}, {Location: "side", Condition: "ambient", TargetSpeedMS: 7.4, Planned: 1}}})
	want := func(text string) view.RunOrder {
		t.Helper()
		o, err := w.RunOrder(w.ctx(), onlyA, c)
		if err != nil {
			t.Fatal(err)
		}
		if got := written(o); got != text {
			t.Errorf("open steps: %s\nwant %s", got, text)
		}
		return o
	}
	step := func(specimen, location string, hit int64) lab.RunStep {
		target := 5.5
		if location == "side" {
			target = 7.4
		}
		return lab.RunStep{Specimen: specimen, Location: location, Condition: "ambient", TargetSpeedMS: target, Hit: hit}
	}
	do := func(what string, s lab.RunStep, before *lab.RunStep) {
		t.Helper()
		w.say(c, &lab.RunOrder{Campaign: c, Do: what, Step: s, Before: before, Reason: "shell cracked"})
	}
	fire := func(n int, speed float64) uuid.UUID {
		id := labtest.ID("fired", n)
		w.say(id, labtest.Shot(rig1, labtest.Start().Add(time.Duration(n)*time.Minute)))
		w.say(id, labtest.Score(id, speed))
		return id
	}
	want("H-01 front 1, H-01 front 2, H-01 side 1, H-02 front 1, H-02 front 2, H-02 side 1")
	one := fire(1, 5.52)
	want("H-01 front 2, H-01 side 1, H-02 front 1, H-02 front 2, H-02 side 1")
	fire(2, 5.9) // too fast: to do again
	want("H-01 front 2, H-01 side 1, H-02 front 1, H-02 front 2, H-02 side 1")
	w.say(one, &lab.Void{Shot: one, Reason: "strap open"})
	want("H-01 front 1, H-01 front 2, H-01 side 1, H-02 front 1, H-02 front 2, H-02 side 1")
	do(lab.RunBefore, step("h-02", "Front", 2), new(step("H-01", "front", 1)))
	want("H-02 front 2, H-01 front 1, H-01 front 2, H-01 side 1, H-02 front 1, H-02 side 1")
	do(lab.RunLast, step("H-01", "front", 1), nil)
	do(lab.RunSkip, step("H-01", "side", 1), nil)
	o := want("H-02 front 2, H-01 front 2, H-02 front 1, H-02 side 1, H-01 front 1")
	if n := o.Count(view.StepSkipped); n != 1 {
		t.Errorf("%d skipped steps, want 1", n)
	}
	for _, s := range o.Steps {
		if s.State == view.StepSkipped && (s.Reason != "shell cracked" || s.By != "p1" || s.At.IsZero()) {
			t.Errorf("skipped: %+v", s)
		}
	}
	if i := o.Next(func(s view.RunStep) bool { return s.Specimen != "H-02" }); i < 0 || o.Steps[i].Specimen != "H-01" || o.Steps[i].Hit != 2 || o.Steps[i].ToleranceMS != 0.1 {
		t.Errorf("the next without H-02 is step %d: %+v", i, o.Steps)
	}
	do(lab.RunBack, step("H-01", "side", 1), nil)
	do(lab.RunBefore, step("H-01", "side", 1), new(step("H-01", "front", 1)))
	do(lab.RunBefore, step("H-01", "nowhere", 1), new(step("H-01", "front", 1))) // no longer planned
	want("H-02 front 2, H-01 front 2, H-02 front 1, H-02 side 1, H-01 side 1, H-01 front 1")

	// The log has both, newest first, and no moves.
	var got []string
	for p := (view.Page{Limit: 1}); ; {
		l, err := w.Skips(w.ctx(), onlyA, view.LogFilter{}, p)
		if err != nil || len(got) > 2 {
			t.Fatal(got, err)
		}
		for _, r := range l.Rows {
			got = append(got, r.Order.Do+" "+r.Order.Step.Specimen+" "+r.Order.Step.Location+" "+r.Author)
		}
		if p.After = l.Next; l.Next == "" {
			break
		}
	}
	if text := strings.Join(got, ", "); text != "back H-01 side p1, skip H-01 side p1" {
		t.Errorf("skipped and put back: %s", text)
	}
}

func TestExpectedShot(t *testing.T) {
	w := openWorld(t)
	at := lab.At(labtest.Start())
	last := func() *view.ExpectedRow {
		t.Helper()
		e, err := w.LastExpected(w.ctx(), onlyA, rig1)
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	if last() != nil {
		t.Fatal("a shot is expected that nobody confirmed")
	}
	one, two, shot := labtest.ID("e1"), labtest.ID("e2"), labtest.ID("shot", 1)
	w.say(one, &lab.Expected{Rig: rig1, Kind: lab.ShotHit, EffectiveAt: at, Meta: lab.Meta{Specimen: "H-01"}})
	w.say(two, &lab.Expected{Rig: rig2, Kind: lab.ShotDry, EffectiveAt: at})
	if e := last(); !e.Open() || e.ID != one || e.Expected.Specimen != "H-01" {
		t.Errorf("expected: %+v", e)
	}
	w.say(one, &lab.ExpectedSettled{Expected: one, Shot: shot})
	if e := last(); e.Open() || e.Shot() != shot {
		t.Errorf("after its file: %+v", e)
	}
	if e, err := w.LastExpected(w.ctx(), allOf(labB), rig1); err != nil || e != nil {
		t.Errorf("another lab sees %v %v", e, err)
	}
}

// Strokes without a file wear the ram, and so does what the controller counted
// beyond all that is recorded. A file that comes late takes its stroke off those.
func TestStrokesWithoutAFile(t *testing.T) {
	w := openWorld(t)
	start := labtest.Start()
	at := func(minutes int) lab.Time { return lab.At(start.Add(time.Duration(minutes) * time.Minute)) }
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R-1"})
	w.say(labtest.ID("m"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: at(0)})
	strokes := func(want int64) {
		t.Helper()
		u, err := w.RamUsage(w.ctx(), onlyA, ram1, start.Add(72*time.Hour))
		if err != nil || u.StrokesSinceService != want {
			t.Errorf("%d strokes since service, want %d (%v)", u.StrokesSinceService, want, err)
		}
	}
	read := func(n, minutes int, counter int64) {
		w.say(labtest.ID("reading", n), &lab.CounterRead{Rig: rig1, Counter: counter, EffectiveAt: at(minutes)})
	}
	dry := labtest.ID("strokes", 1)
	w.say(dry, &lab.Strokes{Rig: rig1, Kind: lab.ShotDry, Number: 4, EffectiveAt: at(10)})
	w.say(labtest.ID("strokes", 2), &lab.Strokes{Rig: rig1, Kind: lab.ShotDry, Number: 3, EffectiveAt: at(2 * 24 * 60)}) // on another day
	strokes(7)
	read(1, 5, 1000)
	strokes(7)
	read(2, 20, 1010) // ten strokes, four of them recorded
	strokes(13)
	late := labtest.ID("late")
	w.say(late, labtest.Shot(rig1, start.Add(12*time.Minute)))
	strokes(13)
	rows, err := w.Readings(w.ctx(), onlyA, rig1, 0, at(60))
	if err != nil || len(rows) != 2 || rows[0].Since != 0 || rows[1].Counted != 10 || rows[1].Recorded != 5 || rows[1].Unaccounted() != 5 {
		t.Errorf("readings: %+v %v", rows, err)
	}
	read(3, 30, 3) // the controller was reset
	strokes(13)
	w.say(labtest.ID("reading", 2), &lab.Withdrawn{Doc: labtest.ID("reading", 2), DocKind: lab.KindCounterRead, Reason: "misread"})
	strokes(8)
	w.say(dry, &lab.Withdrawn{Doc: dry, DocKind: lab.KindStrokes, Reason: "none"})
	strokes(4)
	if l, err := w.Unfiled(w.ctx(), onlyA, rig1, view.Page{}); err != nil || len(l.Rows) != 1 || l.Rows[0].Strokes.Number != 3 {
		t.Errorf("entries: %+v %v", l.Rows, err)
	}
	w.say(labtest.ID("service"), &lab.Service{Item: ram1, EffectiveAt: at(15)})
	strokes(3)
}

func TestSayings(t *testing.T) {
	w := openWorld(t)
	at := lab.At(labtest.Start())
	if u, err := w.PressureUnit(w.ctx(), onlyA); u != "" || err != nil {
		t.Errorf("unit before anybody chose one: %s %v", u, err)
	}
	w.say(labA, &lab.Display{Pressure: "psi"})
	w.sayAs(node2, labA, labA, &lab.Display{Pressure: "bar"})
	if u, err := w.PressureUnit(w.ctx(), onlyA); u != "bar" || err != nil {
		t.Errorf("unit: %s %v", u, err)
	}
	out := func(want lab.Time) {
		t.Helper()
		if got, err := w.TakenOut(w.ctx(), onlyA, " h-01"); got != want || err != nil {
			t.Errorf("taken out at %s, want %s (%v)", got, want, err)
		}
	}
	out(0)
	w.say(labtest.ID("o", 1), &lab.TakenOut{Specimen: "H-01", EffectiveAt: at})
	w.say(labtest.ID("o", 2), &lab.TakenOut{Specimen: "H-011", EffectiveAt: at.Add(time.Hour)})
	out(at)
	w.say(labtest.ID("o", 3), &lab.TakenOut{Specimen: "H-01", EffectiveAt: at, Back: true})
	out(0)
	shot := labtest.ID("shot", 1)
	if a, err := w.Accepted(w.ctx(), onlyA, shot); a != nil || err != nil {
		t.Errorf("accepted: %v %v", a, err)
	}
	w.say(shot, &lab.Accepted{Shot: shot})
	if a, err := w.Accepted(w.ctx(), onlyA, shot); err != nil || a == nil || a.Author != "p1" {
		t.Errorf("accepted: %v %v", a, err)
	}
	w.say(shot, labtest.Shot(rig1, labtest.Start()))
	w.say(labtest.ID("dry"), labtest.Shot(rig1, labtest.Start().Add(time.Minute), func(s *lab.Shot) { s.Kind = lab.ShotDry }))
	if h, err := w.LastHit(w.ctx(), onlyA, "h-01", at.Add(time.Hour)); err != nil || h == nil || h.Shot != shot {
		t.Errorf("last hit: %v %v", h, err)
	}
	if h, err := w.LastHit(w.ctx(), onlyA, "H-01", at); err != nil || h != nil {
		t.Errorf("a hit before the first: %v %v", h, err)
	}
}

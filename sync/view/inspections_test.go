package view_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

func failed(specimen string, at time.Time, corrects ...uuid.UUID) *lab.Inspection {
	return &lab.Inspection{Shot: labtest.ID("shot"), Specimen: specimen, EffectiveAt: lab.At(at), Verdict: lab.VerdictFailed, Reason: "weld cracked", Corrects: corrects}
}

func passed(specimen string, at time.Time, corrects ...uuid.UUID) *lab.Inspection {
	i := failed(specimen, at, corrects...)
	i.Verdict, i.Reason = lab.VerdictPassed, "looked at again"
	return i
}

func (w *world) out(campaign uuid.UUID, s scope.Scope, also ...uuid.UUID) []string {
	w.t.Helper()
	out, err := w.SpecimensOut(w.ctx(), s, campaign, also...)
	if err != nil {
		w.t.Fatalf("specimens that are out: %v", err)
	}
	var names []string
	for name := range out {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// A specimen that failed is out of its campaign until a later record corrects
// that, also where the correction arrived first.
func TestSpecimensOut(t *testing.T) {
	w := openWorld(t)
	at, k := labtest.Start(), labtest.ID("campaign")
	w.say(k, &lab.Campaign{Name: "C", Specimens: []string{"H-01", "H-02", "H-03", "H-04"}})
	w.say(labtest.ID("i1"), failed("h-01 ", at))
	w.say(labtest.ID("i2"), passed("H-02", at))
	w.say(labtest.ID("i3"), failed("H-9", at))
	w.sayAs(node1, labB, labtest.ID("i4"), failed("H-04", at))
	if got := w.out(k, scope.Labs(labA)); !slices.Equal(got, []string{"h-01"}) {
		t.Errorf("out: %q, want h-01 alone", got)
	}
	if got := w.out(k, scope.Labs(labA, labB), labB); !slices.Equal(got, []string{"h-01", "h-04"}) {
		t.Errorf("with the lab's other id: %q, want h-01 and h-04", got)
	}
	// Passing a later look does not mend what failed; a correction does.
	w.say(labtest.ID("i5"), passed("H-01", at.Add(time.Hour)))
	if got := w.out(k, scope.Labs(labA)); !slices.Equal(got, []string{"h-01"}) {
		t.Errorf("after a second look: %q, want h-01", got)
	}
	w.say(labtest.ID("i6"), passed("H-01", at, labtest.ID("i1")))
	if got := w.out(k, scope.Labs(labA)); len(got) != 0 {
		t.Errorf("after the correction: %q, want none", got)
	}
	w.say(labtest.ID("i8"), passed("H-03", at, labtest.ID("i7"))) // its correction is here first
	w.say(labtest.ID("i7"), failed("H-03", at))
	if got := w.out(k, scope.Labs(labA)); len(got) != 0 {
		t.Errorf("a correction that came first: %q, want none", got)
	}
}

func TestInspectionLists(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	w.say(labtest.ID("i1"), failed("H-01", at))
	w.say(labtest.ID("i2"), passed("h-01", at.Add(time.Hour), labtest.ID("i1"), labtest.ID("i2"))) // naming itself does nothing
	other := passed("H-02", at.Add(2*time.Hour))
	other.Shot = labtest.ID("other")
	w.say(labtest.ID("i3"), other)
	for name, c := range map[string]struct {
		f    view.InspectionFilter
		want []string
	}{
		"all, newest first": {view.InspectionFilter{}, []string{"i3", "i2", "i1"}},
		"oldest first":      {view.InspectionFilter{Oldest: true}, []string{"i1", "i2", "i3"}},
		"of a specimen":     {view.InspectionFilter{Specimen: " H-01"}, []string{"i2", "i1"}},
		"that stand":        {view.InspectionFilter{Specimen: "H-01", Standing: true}, []string{"i2"}},
		"of a shot":         {view.InspectionFilter{Shot: labtest.ID("other")}, []string{"i3"}},
		"of both":           {view.InspectionFilter{Shot: labtest.ID("other"), Specimen: "H-01"}, nil},
		"in a time":         {view.InspectionFilter{From: lab.At(at.Add(time.Hour)), To: lab.At(at.Add(2 * time.Hour))}, []string{"i2"}},
	} {
		l, err := w.Inspections(w.ctx(), onlyA, c.f, view.Page{})
		if err != nil {
			t.Fatal(err)
		}
		var got, want []uuid.UUID
		for _, r := range l.Rows {
			got = append(got, r.ID)
			if r.Replaced() != (r.ID == labtest.ID("i1")) {
				t.Errorf("%s: %s is replaced: %v", name, r.ID, r.Replaced())
			}
		}
		for _, s := range c.want {
			want = append(want, labtest.ID(s))
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
	if r, err := w.Inspection(w.ctx(), onlyA, labtest.ID("i1")); err != nil || r.Withdrawn == nil || r.Withdrawn.By != labtest.ID("i2") {
		t.Errorf("what was corrected does not name its correction: %+v, %v", r, err)
	}
}

// The log of a lab has its notes, services and mountings, newest first; what
// was corrected or withdrawn stays in it.
func TestLogLists(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	w.say(labtest.ID("n1"), &lab.Note{Topic: lab.NotePlain, EffectiveAt: lab.At(at), Text: "hall was cold"})
	w.say(labtest.ID("n2"), &lab.Note{Topic: lab.NoteDeviation, EffectiveAt: lab.At(at.Add(time.Hour)), Text: "30 s too long out of the chamber", Corrects: []uuid.UUID{labtest.ID("n1")}})
	w.say(labtest.ID("s"), &lab.Service{Item: ram1, EffectiveAt: lab.At(at), Parts: []string{"seal set"}})
	w.say(labtest.ID("s"), &lab.Withdrawn{Doc: labtest.ID("s"), DocKind: lab.KindService, Reason: "wrong day"})
	w.say(labtest.ID("m"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: lab.At(at)})
	l, err := w.Notes(w.ctx(), onlyA, view.LogFilter{}, view.Page{})
	if err != nil || len(l.Rows) != 2 || l.Rows[0].ID != labtest.ID("n2") || l.Rows[0].Replaced() || !l.Rows[1].Replaced() {
		t.Errorf("notes: %+v, %v", l.Rows, err)
	}
	if l, err = w.Notes(w.ctx(), onlyA, view.LogFilter{Topic: lab.NotePlain}, view.Page{}); err != nil || len(l.Rows) != 1 || l.Rows[0].ID != labtest.ID("n1") {
		t.Errorf("plain notes: %+v, %v", l.Rows, err)
	}
	s, err := w.ServicesDone(w.ctx(), onlyA, view.LogFilter{To: lab.At(at.Add(time.Minute))}, view.Page{})
	if err != nil || len(s.Rows) != 1 || s.Rows[0].Withdrawn == nil || s.Rows[0].Service.Parts[0] != "seal set" {
		t.Errorf("services: %+v, %v", s.Rows, err)
	}
	if m, err := w.MountingsDone(w.ctx(), onlyA, view.LogFilter{From: lab.At(at)}, view.Page{}); err != nil || len(m.Rows) != 1 {
		t.Errorf("mountings: %+v, %v", m.Rows, err)
	}
	if s, err = w.ServicesDone(w.ctx(), onlyA, view.LogFilter{From: lab.At(at.Add(time.Minute))}, view.Page{}); err != nil || len(s.Rows) != 0 {
		t.Errorf("services later: %+v, %v", s.Rows, err)
	}
}

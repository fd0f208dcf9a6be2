package intake_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/agent/intake"
	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// confirm says that a shot is about to be fired.
func (w *world) confirm(change ...func(*lab.Expected)) uuid.UUID {
	w.t.Helper()
	id := uuid.New()
	e := &lab.Expected{Rig: w.rig, Kind: lab.ShotHit, EffectiveAt: lab.At(time.Now()), MetaTyped: []string{"tank_pressure_kpa_gauge"},
		Meta: lab.Meta{Specimen: "H-07", Location: "front", TargetSpeedMS: new(5.5), TankPressureKPaGauge: new(141.0)}}
	for _, f := range change {
		f(e)
	}
	labtest.Append(w.t, w.l.Ledger, w.lab, labtest.Draft(w.t, id, e))
	return id
}

func (w *world) expected(id uuid.UUID) *view.ExpectedRow {
	w.t.Helper()
	e, err := w.reader().Expected(w.t.Context(), scope.All(), id)
	w.must(err)
	return e
}

func (w *world) shot(name string) view.ShotRow {
	w.t.Helper()
	r, ok := w.shots()[name]
	if !ok {
		w.t.Fatalf("no shot of %s; log:\n%s", name, w.log)
	}
	return r
}

// The file that comes next is the confirmed shot; one more is flagged and waits.
func TestTheNextFileIsTheConfirmedShot(t *testing.T) {
	w := newWorld(t, ledgertest.Options{}).start()
	w.write("before.csv", csv(50))
	w.settled()
	if free := w.shot("before.csv"); free.Shot.Assigned() || len(w.score(free.ID).Score.Flags) > 0 && w.hasFlag(free.ID, lab.FlagSecondFile) {
		t.Errorf("a file for no planned shot is no free shot: %+v", free.Shot.Meta)
	}
	out := time.Now().Add(-90 * time.Second)
	e := w.confirm(func(e *lab.Expected) { e.OutOfChamberAt = lab.At(out) })
	w.write("a.csv", csv(60))
	w.settled()
	a := w.shot("a.csv")
	if e := w.expected(e); e.Shot() != a.ID {
		t.Errorf("the confirmed shot has the file of %s", e.Shot())
	}
	m := a.Shot.Meta
	if m.Specimen != "H-07" || m.Location != "front" || *m.TargetSpeedMS != 5.5 || *m.TankPressureKPaGauge != 141 || !a.Typed("tank_pressure_kpa_gauge") || a.Typed("specimen") {
		t.Errorf("meta %+v, typed %v", m, a.TypedFields())
	}
	// The file's time, which dates the shot, is at most as old as the test.
	if m.OutOfChamberS == nil || math.Abs(*m.OutOfChamberS-a.Shot.EffectiveAt.Time().Sub(out).Seconds()) > 0.002 || m.SinceLastImpactS != nil {
		t.Errorf("out of the chamber for %v s, last impact %v s ago", m.OutOfChamberS, m.SinceLastImpactS)
	}
	w.write("b.csv", csv(61))
	w.settled()
	b := w.shot("b.csv")
	if b.Shot.Assigned() || !w.hasFlag(b.ID, lab.FlagSecondFile) {
		t.Errorf("a second file: %+v, flags %+v", b.Shot.Meta, w.score(b.ID).Score.Flags)
	}

	// A typed speed is used, and the rest between hits is known.
	w.confirm(func(e *lab.Expected) { e.SpeedMS, e.MetaTyped = new(5.4), []string{"speed_m_s"} })
	w.write("c.csv", csv(62))
	w.settled()
	c := w.shot("c.csv")
	if v := w.score(c.ID).Score.Results["impact_speed"].Value; v != 5.4 || !w.hasFlag(c.ID, "manual") || !c.Typed("speed_m_s") {
		t.Errorf("speed %g m/s, flags %+v", v, w.score(c.ID).Score.Flags)
	}
	if want := c.Shot.EffectiveAt.Time().Sub(a.Shot.EffectiveAt.Time()).Seconds(); c.Shot.SinceLastImpactS == nil || math.Abs(*c.Shot.SinceLastImpactS-want) > 0.002 {
		t.Errorf("rest %v s, want %g s", c.Shot.SinceLastImpactS, want)
	}
}

func TestWhatTheFileSaysGoesFirst(t *testing.T) {
	w := newWorld(t, ledgertest.Options{}).start()
	e := w.confirm()
	w.write("a.csv.meta.json", `{"specimen":"H-09","tank_pressure_kpa_gauge":150}`)
	w.write("a.csv", csv(60))
	w.settled()
	a := w.shot("a.csv")
	if a.Shot.Specimen != "H-09" || *a.Shot.TankPressureKPaGauge != 150 || a.Shot.Location != "front" || a.Typed("tank_pressure_kpa_gauge") || w.expected(e).Shot() != a.ID {
		t.Errorf("meta %+v, typed %v", a.Shot.Meta, a.TypedFields())
	}
	if !w.hasFlag(a.ID, lab.FlagExpectedDiffers) {
		t.Errorf("nothing says that file and confirmation differ: %+v", w.score(a.ID).Score.Flags)
	}
}

// Files that cannot be the confirmed shot leave it waiting; a person can still say so.
func TestFilesThatAreAnotherShot(t *testing.T) {
	w := newWorld(t, ledgertest.Options{}).start()
	e := w.confirm()
	w.write("dry.csv.meta.json", `{"kind":"dry"}`)
	w.write("dry.csv", csv(1))
	w.write("old.csv", csv(63))
	old := time.Now().Add(-time.Hour)
	w.must(os.Chtimes(w.path("old.csv"), old, old))
	w.settled()
	for _, name := range []string{"dry.csv", "old.csv"} {
		if r := w.shot(name); r.Shot.Specimen != "" || !w.hasFlag(r.ID, lab.FlagNotExpected) {
			t.Errorf("%s: %+v, flags %+v", name, r.Shot.Meta, w.score(r.ID).Score.Flags)
		}
	}
	if !w.expected(e).Open() {
		t.Fatal("the confirmed shot waits no more")
	}
	id := w.shot("old.csv").ID
	for range 2 { // sent twice by mistake
		w.must(w.in.Bind(t.Context(), e, id, "k.t."))
	}
	if r := w.shot("old.csv"); r.Shot.Specimen != "H-07" || w.expected(e).Shot() != id {
		t.Errorf("after a person said so: %+v", r.Shot.Meta)
	}
	w.write("second.csv", csv(64))
	w.settled()
	second := w.shot("second.csv").ID
	if err := w.in.Bind(t.Context(), e, second, ""); err == nil || !strings.Contains(err.Error(), "has its file already") {
		t.Errorf("two shots became one: %v", err)
	}
	_, err := w.in.Amend(t.Context(), id, amend.Void("the wrong one of two files", false, "", ""))
	w.must(err)
	w.must(w.in.Bind(t.Context(), e, second, ""))
	if r := w.shot("second.csv"); r.Shot.Specimen != "H-07" || w.expected(e).Shot() != second {
		t.Errorf("the other file: %+v", r.Shot.Meta)
	}
}

// Of files that arrive at once, exactly one becomes the confirmed shot.
func TestOneOfManyFiles(t *testing.T) {
	w := newWorld(t, ledgertest.Options{})
	e := w.confirm()
	var all sync.WaitGroup
	for i := range 6 {
		all.Go(func() {
			ref, err := w.in.Put(t.Context(), strings.NewReader(csv(float64(70+i))), -1)
			if err == nil {
				_, err = w.in.Submit(t.Context(), intake.Submission{Ref: ref, Name: fmt.Sprintf("p%d.csv", i)})
			}
			if err != nil {
				t.Errorf("submit: %v", err)
			}
		})
	}
	all.Wait()
	var bound []uuid.UUID
	for _, r := range w.shots() {
		if r.Shot.Specimen != "" {
			bound = append(bound, r.ID)
		} else if !w.hasFlag(r.ID, lab.FlagSecondFile) {
			t.Errorf("%s has no flag: %+v", r.Shot.FileName, w.score(r.ID).Score.Flags)
		}
	}
	if len(bound) != 1 || len(w.shots()) != 6 || w.expected(e).Shot() != bound[0] {
		t.Errorf("%d of %d shots are the confirmed one, want 1 of 6", len(bound), len(w.shots()))
	}
}

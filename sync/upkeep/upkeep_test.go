package upkeep_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/scope"
	"thudbook/sync/upkeep"
	"thudbook/sync/view"
)

var (
	ofLab  = labtest.ID("lab")
	rigID  = labtest.ID("rig")
	ramID  = labtest.ID("ram")
	gateID = labtest.ID("gate")
)

type rig struct {
	t     *testing.T
	l     *ledgertest.Ledger
	views *view.Set
	now   time.Time
	n     int
	rng   *rand.Rand
}

func newRig(t *testing.T) *rig {
	r := &rig{t: t, views: view.New(), now: labtest.Start(), rng: rand.New(rand.NewPCG(3, 3))}
	r.l = ledgertest.Open(t, ledgertest.Options{Views: r.views})
	r.say(ramID, &lab.Item{Class: lab.ClassRam, Serial: "R-1"})
	r.say(gateID, &lab.Item{Class: lab.ClassLightGate, Serial: "L-1", ServiceAfterCheck: true})
	r.say(lab.ServicePlanOf(ofLab, lab.ClassRam), &lab.ServicePlan{Class: lab.ClassRam, AfterDrift: true})
	r.say(labtest.ID("m"), &lab.Mounting{Rig: rigID, Position: "ram", Item: ramID, EffectiveAt: lab.At(r.now)})
	r.say(labtest.ID("g"), &lab.Mounting{Rig: rigID, Position: "gate", Item: gateID, EffectiveAt: lab.At(r.now)})
	return r
}

func (r *rig) say(id uuid.UUID, b lab.Body) {
	r.t.Helper()
	labtest.Append(r.t, r.l.Ledger, ofLab, labtest.Draft(r.t, id, b))
}

// fire records a shot of a ram whose squared speed is -4 + 0.23 p, less loss.
func (r *rig) fire(kpa, loss float64) uuid.UUID {
	r.t.Helper()
	r.n++
	r.now = r.now.Add(time.Minute)
	id := labtest.ID("shot", r.n)
	v := math.Sqrt(-4 + 0.23*kpa - loss + 0.05*r.rng.NormFloat64())
	r.say(id, labtest.Shot(rigID, r.now, func(s *lab.Shot) { s.TankPressureKPaGauge, s.SpeedMS = &kpa, &v }))
	return id
}

func (r *rig) check(peak float64) uuid.UUID {
	r.t.Helper()
	r.n++
	r.now = r.now.Add(time.Minute)
	id := labtest.ID("check", r.n)
	r.say(id, labtest.Shot(rigID, r.now, func(s *lab.Shot) {
		s.Kind, s.ReferencePad, s.Specimen, s.Location = lab.ShotSystemCheck, "P-1", "", ""
	}))
	r.say(id, labtest.Score(id, 5.5, func(s *lab.Score) {
		s.Results["peak_linear_acceleration"] = lab.Result{Value: peak, Unit: "g"}
	}))
	return id
}

func (r *rig) of(item uuid.UUID) upkeep.Due {
	r.t.Helper()
	w := upkeep.Watch{Read: r.views.Reader(r.l.Store), Scope: scope.All(), Now: r.now.Add(time.Second)}
	d, err := w.Of(r.t.Context(), item)
	if err != nil {
		r.t.Fatal(err)
	}
	if len(d.Causes) > 0 != d.IsDue() {
		r.t.Errorf("%d causes, due %v", len(d.Causes), d.IsDue())
	}
	return d
}

func (r *rig) service(item uuid.UUID) {
	r.now = r.now.Add(time.Minute)
	r.n++
	r.say(labtest.ID("service", r.n), &lab.Service{Item: item, EffectiveAt: lab.At(r.now)})
}

// A failed check makes due what goes by it and sat at the rig; the next good
// check does not clear it, a service does, and so does a void of the check.
func TestFailedCheckMakesDue(t *testing.T) {
	r := newRig(t)
	r.say(labtest.ID("limits"), &lab.CheckLimits{Rig: rigID, Pad: "P-1", EffectiveAt: lab.At(r.now),
		Limits: []lab.CheckLimit{{Result: lab.CheckPeak, Least: new(90.0), Most: new(110.0), Source: "the pad's certificate"}}})
	r.check(100)
	if d := r.of(gateID); len(d.Causes) != 0 {
		t.Fatalf("all is well, %+v", d.Causes)
	}
	bad := r.check(120)
	r.check(101)
	d := r.of(gateID)
	if len(d.Causes) != 1 || d.Causes[0].Code != upkeep.FailedCheck || d.Causes[0].Shot != bad || d.Causes[0].Text != "peak linear acceleration 120 g, above the limit of 110 g" {
		t.Fatalf("causes %+v", d.Causes)
	}
	if d := r.of(ramID); len(d.Causes) != 0 {
		t.Errorf("the ram's plan says nothing of checks, %+v", d.Causes)
	}
	r.say(bad, &lab.Void{Shot: bad, Reason: "strap open"})
	if d := r.of(gateID); len(d.Causes) != 0 {
		t.Errorf("the check is void, %+v", d.Causes)
	}
	r.say(bad, &lab.Void{Shot: bad, Reason: "it was not", Lifted: true})
	if d := r.of(gateID); len(d.Causes) != 1 {
		t.Errorf("the check counts again, %+v", d.Causes)
	}
	r.service(gateID)
	if d := r.of(gateID); len(d.Causes) != 0 {
		t.Errorf("after the service %+v", d.Causes)
	}
	again := r.check(80)
	if d := r.of(gateID); len(d.Causes) != 1 || d.Causes[0].Shot != again {
		t.Errorf("failed again: %+v", d.Causes)
	}
	// A service entered late, of before the check, clears nothing.
	r.say(labtest.ID("late"), &lab.Service{Item: gateID, EffectiveAt: lab.At(r.now.Add(-time.Second))})
	if d := r.of(gateID); len(d.Causes) != 1 {
		t.Errorf("a service before the check cleared it: %+v", d.Causes)
	}
	// What was mounted later did not see it.
	other := labtest.ID("other gate")
	r.say(other, &lab.Item{Class: lab.ClassLightGate, Serial: "L-2", ServiceAfterCheck: true})
	r.now = r.now.Add(time.Minute)
	r.say(labtest.ID("g2"), &lab.Mounting{Rig: rigID, Position: "gate", Item: other, EffectiveAt: lab.At(r.now)})
	if d := r.of(other); len(d.Causes) != 0 {
		t.Errorf("mounted after the check: %+v", d.Causes)
	}
	if d := r.of(gateID); len(d.Causes) != 1 {
		t.Errorf("taken off since, it is still due: %+v", d.Causes)
	}
}

// A drift is held until the service, even where the charts come back.
func TestDriftMakesDue(t *testing.T) {
	r := newRig(t)
	for i := range 30 {
		r.fire(130+10*float64(i%3), 0)
	}
	if d := r.of(ramID); len(d.Causes) != 0 {
		t.Fatalf("no drift, %+v", d.Causes)
	}
	for i := range 60 {
		r.fire(130+10*float64(i%3), 0.012*float64(i))
	}
	d := r.of(ramID)
	if len(d.Causes) != 1 || d.Causes[0].Code != upkeep.SpeedDrift || d.Causes[0].OffMS >= 0 || d.Causes[0].Shot == uuid.Nil {
		t.Fatalf("a ram that loses speed: %+v", d.Causes)
	}
	if c := r.of(gateID).Causes; len(c) != 0 {
		t.Errorf("the gate's plan says nothing of drift, %+v", c)
	}
	r.service(ramID)
	if c := r.of(ramID).Causes; len(c) != 0 {
		t.Errorf("after the service %+v", c)
	}
}

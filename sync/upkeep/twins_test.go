package upkeep_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/upkeep"
)

// twin records a stroke whose second gate reads apart more than the first.
func (r *rig) twin(apart float64, change ...func(*lab.Shot)) uuid.UUID {
	r.t.Helper()
	r.n++
	r.now = r.now.Add(time.Minute)
	id := labtest.ID("twin", r.n)
	r.say(id, labtest.Shot(rigID, r.now, change...))
	r.say(id, labtest.Score(id, 5.5, func(s *lab.Score) {
		s.Twins = []lab.Twins{{Channel: "Gate", Twin: "gate B", Measures: "light gate", Value: 5.5, Other: 5.5 * (1 + apart), Unit: "m/s", Limit: 0.02}}
	}))
	return id
}

func (r *rig) disagreements(position string) []upkeep.Disagreement {
	r.t.Helper()
	w := &upkeep.Watch{Read: r.views.Reader(r.l.Store), Scope: scope.Labs(ofLab), Now: r.now.Add(time.Second)}
	out, err := w.Twins(r.t.Context(), rigID, position)
	if err != nil {
		r.t.Fatal(err)
	}
	return out
}

// The median of the last five strokes decides; two bad ones do not, what is void
// does not count, and a sensor that was exchanged starts anew.
func TestTwins(t *testing.T) {
	r := newRig(t)
	none := func(what string) {
		t.Helper()
		for _, at := range []string{"gate", "gate B"} {
			if d := r.disagreements(at); len(d) > 0 {
				t.Errorf("%s: %+v", what, d)
			}
		}
	}
	for range 4 {
		r.twin(-0.03)
	}
	none("four strokes")
	last := r.twin(-0.031)
	for _, at := range []string{"gate", "GATE b"} {
		d := r.disagreements(at)
		if len(d) != 1 || math.Abs(d[0].Apart+0.03) > 1e-9 || d[0].Strokes != 5 || d[0].Shot != last || d[0].Limit != 0.02 || d[0].Measures != "light gate" {
			t.Fatalf("five strokes, at %s: %+v", at, d)
		}
	}
	if d := r.disagreements("ram"); len(d) > 0 {
		t.Errorf("at another position: %+v", d)
	}
	r.twin(0)
	r.twin(0)
	if d := r.disagreements("gate"); len(d) != 1 {
		t.Errorf("two good strokes of five took it off: %+v", d)
	}
	void := r.twin(0)
	r.say(labtest.ID("void"), &lab.Void{Shot: void, Reason: "strap"})
	if d := r.disagreements("gate"); len(d) != 1 {
		t.Errorf("a void stroke counts: %+v", d)
	}
	r.twin(0)
	none("three good strokes of five")
	for range 5 {
		r.twin(0.05)
	}
	// Strokes that compare nothing lie in between, as those of an older program.
	for range 12 {
		r.fire(165, 0)
	}
	if d := r.disagreements("gate"); len(d) != 1 || d[0].Apart < 0.049 {
		t.Errorf("behind strokes that were not scored: %+v", d)
	}
	other := labtest.ID("gate 2")
	r.say(other, &lab.Item{Class: lab.ClassLightGate, Serial: "L-2"})
	r.say(labtest.ID("m2"), &lab.Mounting{Rig: rigID, Position: "Gate B", Item: other, EffectiveAt: lab.At(r.now)})
	none("another gate was mounted")
	for range 5 {
		r.twin(0.021)
	}
	if d := r.disagreements("gate B"); len(d) != 1 {
		t.Errorf("the other gate disagrees too: %+v", d)
	}
}

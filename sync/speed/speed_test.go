package speed_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/metrics/fault"
	"thudbook/metrics/ram"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/scope"
	"thudbook/sync/speed"
	"thudbook/sync/view"
)

type rig struct {
	t     *testing.T
	l     *ledgertest.Ledger
	views *view.Set
	now   time.Time
	n     int
	rng   *rand.Rand
}

var (
	ofLab = labtest.ID("lab")
	rigID = labtest.ID("rig")
	ramID = labtest.ID("ram")
)

func newRig(t *testing.T) *rig {
	r := &rig{t: t, views: view.New(), now: labtest.Start(), rng: rand.New(rand.NewPCG(3, 3))}
	r.l = ledgertest.Open(t, ledgertest.Options{Views: r.views})
	r.say(ramID, &lab.Item{Class: lab.ClassRam, Serial: "R-1"})
	r.say(labtest.ID("m"), &lab.Mounting{Rig: rigID, Position: "ram", Item: ramID, EffectiveAt: lab.At(r.now)})
	return r
}

func (r *rig) say(id uuid.UUID, b lab.Body) {
	r.t.Helper()
	labtest.Append(r.t, r.l.Ledger, ofLab, labtest.Draft(r.t, id, b))
}

// fire records a shot of a ram whose squared speed is -4 + 0.23 p, less loss.
func (r *rig) fire(kpa, loss float64, change ...func(*lab.Shot)) uuid.UUID {
	r.t.Helper()
	r.n++
	r.now = r.now.Add(time.Minute)
	id := labtest.ID("shot", r.n)
	r.say(id, labtest.Shot(rigID, r.now, append([]func(*lab.Shot){func(s *lab.Shot) { s.TankPressureKPaGauge = &kpa }}, change...)...))
	r.say(id, labtest.Score(id, math.Sqrt(-4+0.23*kpa-loss)+0.01*r.rng.NormFloat64()))
	return id
}

func (r *rig) service() {
	r.now = r.now.Add(time.Minute)
	r.say(labtest.ID("service", r.n), &lab.Service{Item: ramID, EffectiveAt: lab.At(r.now)})
}

func (r *rig) read() speed.History {
	r.t.Helper()
	h, err := speed.Read(r.t.Context(), r.views.Reader(r.l.Store), scope.All(), rigID, r.now.Add(time.Minute))
	if err != nil {
		r.t.Fatal(err)
	}
	return h
}

// The curve since the service holds from six shots at two pressures on; until
// then the one before serves, widened; and nothing is proposed beyond either.
func TestProposals(t *testing.T) {
	r := newRig(t)
	h := r.read()
	if _, err := h.Propose(5.5, 0.1); err == nil {
		t.Error("a pressure is proposed for a ram that was never fired")
	}
	for i := range 12 {
		r.fire(130+10*float64(i%3), 0)
	}
	h = r.read()
	truth := (5.2*5.2 + 4) / 0.23 // of the ram that fire simulates
	own, err := h.Propose(5.2, 0.1)
	if err != nil || own.BeforeService || own.Shots != 12 || math.Abs(own.PressureKPa.Value-truth) > 1 || own.PressureKPa.Low > truth || own.PressureKPa.High < truth || own.Chance < 0.99 {
		t.Errorf("proposal %+v (%v), want %.1f kPa", own, err, truth)
	}
	if own.LowKPa != 130 || own.HighKPa != 150 {
		t.Errorf("observed %g to %g kPa", own.LowKPa, own.HighKPa)
	}
	if _, err := h.Propose(9, 0.1); err == nil {
		t.Error("a pressure beyond those that were observed is proposed")
	} else if f, ok := fault.As(err); !ok || f.Code != ram.OutsideObserved {
		t.Errorf("beyond what was observed: %v", err)
	}
	if p, err := h.Propose(5.2, 0); err != nil || p.Chance >= 0 {
		t.Errorf("a speed that is not judged has the chance %g (%v)", p.Chance, err)
	}

	r.service()
	r.fire(500, 0, func(s *lab.Shot) { s.Kind = lab.ShotDry }) // far beyond what was observed before
	h = r.read()
	if len(h.Before) != 12 || len(h.Since) != 1 {
		t.Errorf("%d before, %d since the service", len(h.Before), len(h.Since))
	}
	wide, err := h.Propose(5.2, 0.1)
	if err != nil || !wide.BeforeService || wide.Shots != 12 || math.Abs(wide.PressureKPa.Value-own.PressureKPa.Value) > 1e-9 {
		t.Errorf("after the service: %+v %v", wide, err)
	}
	if got, want := wide.PressureKPa.High-wide.PressureKPa.Low, own.PressureKPa.High-own.PressureKPa.Low; got < 1.9*want || wide.Chance > own.Chance {
		t.Errorf("the interval after the service is %g kPa wide, before it %g; chance %g, before %g", got, want, wide.Chance, own.Chance)
	}
	if kpa, missing := h.Guided(); kpa[0] < 130 || kpa[1] > 150 || kpa[0] >= kpa[1] || missing != [2]int{3, 2} {
		t.Errorf("guided set %v, missing %v", kpa, missing)
	}
	for range 3 {
		r.fire(135, 0)
	}
	void := r.fire(140, 0)
	r.say(void, &lab.Void{Shot: void, Reason: "valve stuck"})
	if h = r.read(); len(h.Since) != 4 {
		t.Errorf("%d shots since the service, the void one is not to count", len(h.Since))
	}
	if p, err := h.Propose(5.2, 0.1); err != nil || !p.BeforeService {
		t.Errorf("four shots make a curve: %+v %v", p, err)
	}
	r.fire(150, 0.3)
	r.fire(150, 0.3)
	h = r.read()
	if p, err := h.Propose(5.3, 0.1); err != nil || p.BeforeService || p.Shots != 6 {
		t.Errorf("six shots at two pressures: %+v %v", p, err)
	}
	if _, missing := h.Guided(); missing != [2]int{} {
		t.Errorf("the guided set still wants %v", missing)
	}
}

func TestDrift(t *testing.T) {
	r := newRig(t)
	for i := range 20 {
		r.fire(130+10*float64(i%3), 0)
	}
	h := r.read()
	d, err := h.Drift()
	if err != nil || d.EWMA != nil || !strings.Contains(d.NoCharts, "the first 20 shots") {
		t.Fatalf("20 shots: %+v %v", d, err)
	}
	for i := range 60 {
		r.fire(130+10*float64(i%3), 0.012*float64(i))
	}
	h = r.read()
	if d, err = h.Drift(); err != nil || len(d.EWMA) != 80 || len(d.CUSUM) != 80 || len(d.Residual) != 80 {
		t.Fatalf("%d points, %d residuals, %v", len(d.EWMA), len(d.Residual), err)
	}
	if s := d.EWMA[79].Signal; s != ram.Down {
		t.Errorf("a ram that loses speed signals %q", s)
	}
	// The loss begins with the 21st stroke, so the mean slope is below 0.012.
	if p := d.Trend.PerStroke; p > -0.008 || p < -0.013 {
		t.Errorf("trend %g m²/s² a stroke", p)
	}
}

// Package speed reads from the views what pressures gave what speeds on a rig's
// ram, and proposes a pressure from that.
package speed

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/metrics/fault"
	"thudbook/metrics/ram"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// What a curve rests on; common practice, no published source.
const (
	EnoughShots     = 6    // since the last service, before its own curve holds
	EnoughReach     = 0.05 // of the largest pressure, between the lowest and the highest: two pressures
	WidenedBy       = 2.0  // the scatter of the curve before the service
	MostShots       = 1000 // the newest are read
	Level           = 0.95 // of all intervals
	EnoughForCharts = 20   // shots from which the charts take level and scatter
)

// AboveRated is the code of a pressure that the vessel may not hold.
const AboveRated fault.Code = "above_rated_pressure"

// Pair is one stroke with a pressure and a speed.
type Pair struct {
	Shot        uuid.UUID
	At          lab.Time
	Stroke      int64 // recorded since the service, this one included
	PressureKPa float64
	SpeedMS     float64
}

// History is what a rig's ram did, void shots left out.
type History struct {
	Ram     *view.ItemRow // nil: the register knows of none at this rig
	Service lab.Time      // the last one; zero: none is recorded
	Rated   float64       // maximum allowed tank pressure, kPa gauge; zero: none is stated
	Since   []Pair        // since then, oldest first
	Before  []Pair        // between the service before and the last one
}

// Read gives the history of the ram that is mounted at a rig.
func Read(ctx context.Context, v *view.Reader, sc scope.Scope, rig uuid.UUID, now time.Time) (History, error) {
	h, earlier, from, err := since(ctx, v, sc, rig, now)
	if err == nil && earlier < from {
		h.Before, err = pairs(ctx, v, sc, rig, earlier, from)
	}
	return h, err
}

// ReadSince is Read without the strokes from before the last service, which a
// drift does not rest on.
func ReadSince(ctx context.Context, v *view.Reader, sc scope.Scope, rig uuid.UUID, now time.Time) (History, error) {
	h, _, _, err := since(ctx, v, sc, rig, now)
	return h, err
}

// since reads the strokes from the last service on, and gives between which
// times the strokes before it lie.
func since(ctx context.Context, v *view.Reader, sc scope.Scope, rig uuid.UUID, now time.Time) (h History, earlier, from lab.Time, err error) {
	mounted, err := v.Mounted(ctx, sc, rig, lab.At(now))
	if err != nil {
		return h, 0, 0, err
	}
	most, err := v.RatedAt(ctx, sc, rig, lab.At(now))
	if err != nil {
		return h, 0, 0, err
	}
	if most != nil {
		h.Rated = most.Rated.PressureKPaGauge
	}
	for i := range mounted {
		m := &mounted[i]
		if m.Item == nil || m.Item.Item.Class != lab.ClassRam {
			continue
		}
		h.Ram, from = m.Item, m.Mounting.Mounting.EffectiveAt
		earlier = from
		services, err := v.Services(ctx, sc, m.Item.ID)
		if err != nil {
			return h, 0, 0, err
		}
		for _, s := range services { // newest first
			at := s.Service.EffectiveAt
			switch {
			case at > lab.At(now):
			case h.Service == 0:
				h.Service, from = at, max(from, at)
			case at > earlier:
				earlier = at
			}
		}
	}
	h.Since, err = pairs(ctx, v, sc, rig, from, 0)
	return h, earlier, from, err
}

// pairs lists the strokes of a time that have a pressure and a speed.
func pairs(ctx context.Context, v *view.Reader, sc scope.Scope, rig uuid.UUID, from, to lab.Time) ([]Pair, error) {
	f := view.ShotFilter{Rig: rig, From: from, To: to}
	var rows []view.ShotRow
	for p := (view.Page{Limit: MostShots}); len(rows) < MostShots; {
		l, err := v.Shots(ctx, sc, f, p)
		if err != nil {
			return nil, err
		}
		rows = append(rows, l.Rows...)
		if p.After = l.Next; l.Next == "" {
			break
		}
	}
	slices.Reverse(rows)
	var out []Pair
	for i := range rows {
		s := &rows[i]
		p, v := s.Shot.TankPressureKPaGauge, s.SpeedMS()
		if p == nil || v == nil || !(*p > 0) || !(*v > 0) || s.Void() || s.Shot.Kind == lab.ShotSecondFile {
			continue
		}
		out = append(out, Pair{Shot: s.ID, At: s.Shot.EffectiveAt, Stroke: int64(i + 1), PressureKPa: *p, SpeedMS: *v})
	}
	return out, nil
}

// columns are pressures, speeds and strokes of pairs.
func columns(all []Pair) (p, v, n []float64) {
	for _, x := range all {
		p, v, n = append(p, x.PressureKPa), append(v, x.SpeedMS), append(n, float64(x.Stroke))
	}
	return p, v, n
}

// enough says that the shots make a curve of their own.
func enough(all []Pair) bool {
	low, high := math.Inf(1), 0.0
	for _, x := range all {
		low, high = min(low, x.PressureKPa), max(high, x.PressureKPa)
	}
	return len(all) >= EnoughShots && high-low >= EnoughReach*high
}

// Curve is a pressure curve with what it rests on.
type Curve struct {
	ram.Curve
	BeforeService bool // of the shots before the last service, widened
	Shots         int
}

// Curve gives the curve that holds now. The error says in words why there is none.
func (h *History) Curve() (Curve, error) {
	use, before := h.Since, false
	if !enough(h.Since) && enough(h.Before) {
		use, before = h.Before, true
	}
	p, v, _ := columns(use)
	c, err := ram.FitCurve(p, v, true)
	if before {
		c = c.Widened(WidenedBy)
	}
	return Curve{Curve: c, BeforeService: before, Shots: len(use)}, err
}

// Proposal is a tank pressure for a target speed.
type Proposal struct {
	PressureKPa   ram.Interval
	Chance        float64 // that one shot at that pressure is within the tolerance; negative: the speed is not judged
	BeforeService bool
	Shots         int
	LowKPa        float64 // the pressures that were observed
	HighKPa       float64
}

// Propose gives a pressure for a target; toleranceMS 0: the speed is not judged.
// The error says in words why nothing is proposed.
func (h *History) Propose(targetMS, toleranceMS float64) (Proposal, error) {
	c, err := h.Curve()
	out := Proposal{BeforeService: c.BeforeService, Shots: c.Shots, LowKPa: c.Line.MinX, HighKPa: c.Line.MaxX, Chance: -1}
	if err == nil {
		out.PressureKPa, err = c.Pressure(targetMS, Level)
	}
	if err == nil && h.Rated > 0 && out.PressureKPa.Value > h.Rated {
		// A pressure above what the vessel may hold is not even named.
		out.PressureKPa = ram.Interval{}
		err = &fault.Error{Code: AboveRated, What: "the pressure for this speed is above the maximum allowed pressure of the rig", Fix: "plan a lower speed, or have a competent person look at the ram"}
	}
	if err == nil && toleranceMS > 0 {
		out.Chance, err = c.ProbabilityWithin(out.PressureKPa.Value, targetMS, toleranceMS)
	}
	return out, err
}

// Guided gives two pressures for a set of dry strokes after a service, both among
// those that were observed before it, and how many shots each still wants; none
// when they are not needed, or nothing was observed.
func (h *History) Guided() (kpa [2]float64, missing [2]int) {
	if h.Service == 0 || enough(h.Since) || !enough(h.Before) {
		return kpa, missing
	}
	p, _, _ := columns(h.Before)
	slices.Sort(p)
	kpa = [2]float64{p[len(p)/10], p[len(p)-1-len(p)/10]}
	if h.Rated > 0 && kpa[1] > h.Rated {
		return [2]float64{}, missing // as before another vessel or valve was put in
	}
	half := (kpa[0] + kpa[1]) / 2
	missing = [2]int{EnoughShots / 2, EnoughShots / 2}
	for _, x := range h.Since {
		i := 0
		if x.PressureKPa > half {
			i = 1
		}
		missing[i] = max(0, missing[i]-1)
	}
	return kpa, missing
}

// Drift is how the speed at a given pressure moved since the last service.
type Drift struct {
	Pairs    []Pair
	Curve    Curve
	Residual []float64 // m/s, measured less predicted by the curve
	Baseline ram.Baseline
	EWMA     []ram.EWMAPoint
	CUSUM    []ram.CUSUMPoint
	NoCharts string // why there are none, in words
	Trend    ram.Trend
	NoTrend  string
}

// Limits of the charts whose level and scatter come from few shots; what they
// do is computed in package ram's tests.
const (
	LimitEWMA  = 3.8
	LimitCUSUM = 8.0
)

// Drift computes the charts. The error says in words why there is no curve.
func (h *History) Drift() (Drift, error) {
	own := History{Since: h.Since}
	d := Drift{Pairs: h.Since}
	var err error
	if d.Curve, err = own.Curve(); err != nil {
		return d, err
	}
	p, v, n := columns(h.Since)
	for i := range p {
		in, err := d.Curve.Speed(p[i], Level)
		if err != nil {
			return d, err
		}
		d.Residual = append(d.Residual, v[i]-in.Value)
	}
	if d.Trend, err = ram.FitTrend(p, v, n); err != nil {
		d.NoTrend = err.Error()
	}
	if len(d.Residual) <= EnoughForCharts {
		d.NoCharts = fmt.Sprintf("the first %d shots give level and scatter; %d are there", EnoughForCharts, len(d.Residual))
		return d, nil
	}
	if d.Baseline, err = ram.EstimateBaseline(d.Residual[:EnoughForCharts]); err != nil {
		d.NoCharts = err.Error()
		return d, nil
	}
	e, c := ram.NewEWMA(d.Baseline), ram.NewCUSUM(d.Baseline)
	e.L, c.H = LimitEWMA, LimitCUSUM
	if d.EWMA, err = e.Run(d.Residual); err == nil {
		d.CUSUM, err = c.Run(d.Residual)
	}
	return d, err
}

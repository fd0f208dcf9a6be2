package simrig

import "math"

// Shot is one stroke as the acquisition recorded it, and its truth.
type Shot struct {
	Number       int // stroke of this rig, from 1
	SinceService int // this stroke included
	Command      Command
	Rig          string
	Seed         uint64
	RateHz       float64
	StartS       float64 // time of the first sample; 0 is first contact
	Channels     []Channel
	Truth        Truth
}

// Channel is one recorded column.
type Channel struct {
	Name, Unit string
	Values     []float64
	decimals   int
}

// Channel finds a column by its name; nil when there is none.
func (s *Shot) Channel(name string) *Channel {
	for i := range s.Channels {
		if s.Channels[i].Name == name {
			return &s.Channels[i]
		}
	}
	return nil
}

// Truth is what happened, before any sensor.
type Truth struct {
	PressureKPa    float64 // gauge, at release
	SealFrictionN  float64
	GateSpeedMS    float64 // mean over the nominal flag's true width
	ContactSpeedMS float64
	PeakLinearG    float64 // resultant at the centre of gravity
	PeakAtS        float64
	PeakRateRadS   float64 // resultant
	ContactS       float64 // how long the first contact lasts
	CrushM         float64
	Contacts       int
	Energy         Energy
}

// standardGravity in m/s², exact by definition (3rd CGPM, 1901).
const standardGravity = 9.80665

// series are the true quantities at each sample.
type series struct {
	linG, rate, neck [3][]float64
	gate, tank, ramN []float64
}

func newSeries(n int) *series {
	var t series
	for i := range 3 {
		t.linG[i], t.rate[i], t.neck[i] = make([]float64, n), make([]float64, n), make([]float64, n)
	}
	t.gate, t.tank, t.ramN = make([]float64, n), make([]float64, n), make([]float64, n)
	return &t
}

// run lays launch and impact on the acquisition's time base and fills in the
// truth.
func (r *Rig) run(s *system, fly launch, truth *Truth) *series {
	c := r.cfg
	pre := int(math.Round(c.PreS * c.RateHz))
	n := pre + int(math.Round(c.PostS*c.RateHz))
	out := newSeries(n)

	tContact, v := fly.at(0)
	tLeave, _ := fly.at(-c.Ram.GateGapM)
	tEnter, _ := fly.at(-c.Ram.GateGapM - r.flagMM/1000)
	truth.ContactSpeedMS = v
	truth.GateSpeedMS = r.flagMM / 1000 / (tLeave - tEnter)
	e := &truth.Energy
	e.GasWorkJ, e.SealJ, e.GuideJ = fly.gasJ, fly.sealJ, fly.guideJ
	e.RamAtContactJ = 0.5 * c.Ram.MassKG * v * v

	for i := range min(pre, n) {
		pos, kPa := fly.when(tContact + float64(i-pre)/c.RateHz)
		out.gate[i], out.tank[i] = r.blocked(pos), kPa
	}
	b := body{ramV: v, q: quat{w: 1}}
	sub := max(1, int(math.Ceil(1/c.RateHz/contactStepS-1e-9)))
	h := 1 / c.RateHz / float64(sub)
	touching := false
	for i := pre; i < n; i++ {
		f := s.forces(&b)
		out.gate[i], out.tank[i], out.ramN[i] = r.blocked(b.ram), fly.tankKPa[len(fly.tankKPa)-1], f.contactN
		a, neck := b.q.back(f.alphaHead).scale(1/standardGravity), b.q.back(f.neck)
		for k := range 3 {
			out.linG[k][i], out.rate[k][i], out.neck[k][i] = a[k], b.w[k], neck[k]
		}
		if g := a.norm(); g > truth.PeakLinearG {
			truth.PeakLinearG, truth.PeakAtS = g, float64(i-pre)/c.RateHz
		}
		truth.PeakRateRadS = max(truth.PeakRateRadS, b.w.norm())
		truth.CrushM = max(truth.CrushM, f.crushM)
		if f.contactN > 0 && !touching {
			truth.Contacts++
		}
		touching = f.contactN > 0
		if touching && truth.Contacts == 1 {
			truth.ContactS = float64(i-pre+1) / c.RateHz
		}
		for range sub {
			s.step(&b, h)
		}
	}
	s.balance(e, &b)
	return out
}

// blocked is how much of the gate's beam the flag covers, 0 to 1, with the ram
// at pos (0 is contact).
func (r *Rig) blocked(pos float64) float64 {
	enter := -r.cfg.Ram.GateGapM - r.flagMM/1000
	cover := func(edge float64) float64 { return min(max((pos-edge)/r.cfg.Ram.BeamM+0.5, 0), 1) }
	return cover(enter) - cover(-r.cfg.Ram.GateGapM)
}

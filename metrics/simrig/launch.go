package simrig

import (
	"fmt"
	"math"

	"thudbook/metrics/fault"
)

const (
	atmosphereKPa = 101.325
	launchStepS   = 50e-6
)

// launch is the ram's motion from rest to contact. pos is -(distance to
// contact); times run from the opening of the valve.
type launch struct {
	t, pos, vel, tankKPa []float64 // tank pressure is gauge
	gasJ, sealJ, guideJ  float64
}

// tank is the absolute pressure in kPa behind a piston that has moved x.
func (r Ram) tank(p0AbsKPa, x float64) float64 {
	x = min(max(x, 0), r.StrokeM)
	return p0AbsKPa * math.Pow(r.TankM3/(r.TankM3+r.BoreM2*x), r.Polytropic)
}

// GasWorkJ is the work on the piston over the whole driven stroke, closed
// form, for a tank pressure in kPa gauge. It is linear in the pressure.
func (r Ram) GasWorkJ(gaugeKPa float64) float64 {
	n := r.Polytropic - 1
	expand := 1 - math.Pow(r.TankM3/(r.TankM3+r.BoreM2*r.StrokeM), n)
	return (gaugeKPa+atmosphereKPa)*1000*r.TankM3/n*expand - atmosphereKPa*1000*r.BoreM2*r.StrokeM
}

// frictionJ is what seal and guide take up to contact.
func (r Ram) frictionJ(sealN float64) float64 {
	return sealN*r.StrokeM + r.GuideFrictionN*(r.StrokeM+r.CoastM)
}

// PressureFor is the gauge pressure in kPa that gives speedMS at contact right
// after a service, with no scatter: what the operator's chart of that day says.
func (r Ram) PressureFor(speedMS float64) float64 {
	want := 0.5*r.MassKG*speedMS*speedMS + r.frictionJ(r.SealFrictionN)
	w0 := r.GasWorkJ(0)
	return (want - w0) / (r.GasWorkJ(1) - w0)
}

// SpeedFor is the other way round; 0 when the ram would not reach contact.
func (r Ram) SpeedFor(gaugeKPa float64) float64 {
	return math.Sqrt(max(0, 2*(r.GasWorkJ(gaugeKPa)-r.frictionJ(r.SealFrictionN))/r.MassKG))
}

// fly integrates the ram from rest to contact by fourth-order Runge-Kutta.
func (r Ram) fly(gaugeKPa, sealN float64) (launch, error) {
	p0 := gaugeKPa + atmosphereKPa
	force := func(x float64) float64 {
		if x >= r.StrokeM {
			return -r.GuideFrictionN
		}
		return (r.tank(p0, x)-atmosphereKPa)*1000*r.BoreM2 - sealN - r.GuideFrictionN
	}
	end := r.StrokeM + r.CoastM
	var l launch
	var x, v, t float64
	add := func() {
		l.t, l.pos, l.vel = append(l.t, t), append(l.pos, x-end), append(l.vel, v)
		l.tankKPa = append(l.tankKPa, r.tank(p0, x)-atmosphereKPa)
	}
	add()
	const h = launchStepS
	for x < end {
		a1 := force(x) / r.MassKG
		a2 := force(x+h/2*v) / r.MassKG
		a3 := force(x+h/2*(v+h/2*a1)) / r.MassKG
		a4 := force(x+h*(v+h/2*a2)) / r.MassKG
		x0 := x
		x += h * (v + h/6*(a1+a2+a3))
		v += h / 6 * (a1 + 2*a2 + 2*a3 + a4)
		t += h
		if v <= 0 || t > 5 {
			return launch{}, &fault.Error{Code: Stalled,
				What: fmt.Sprintf("at %.1f kPa gauge the ram stops before it reaches the helmet", gaugeKPa),
				Fix:  "this is a matter of the model alone: give the simulated rig another pressure or a service"}
		}
		// Work by the midpoint of the driven part of this step.
		a, b := min(x0, r.StrokeM), min(x, r.StrokeM)
		l.gasJ += (r.tank(p0, (a+b)/2) - atmosphereKPa) * 1000 * r.BoreM2 * (b - a)
		l.sealJ += sealN * (b - a)
		l.guideJ += r.GuideFrictionN * (min(x, end) - min(x0, end))
		add()
	}
	return l, nil
}

// at interpolates the motion at a position, between the two steps around it.
func (l launch) at(pos float64) (t, vel float64) {
	for i := len(l.pos) - 1; i > 0; i-- {
		if l.pos[i-1] <= pos {
			f := (pos - l.pos[i-1]) / (l.pos[i] - l.pos[i-1])
			return l.t[i-1] + f*(l.t[i]-l.t[i-1]), l.vel[i-1] + f*(l.vel[i]-l.vel[i-1])
		}
	}
	return l.t[0], l.vel[0]
}

// when gives position and tank pressure at a time before contact.
func (l launch) when(t float64) (pos, tankKPa float64) {
	if t <= 0 {
		return l.pos[0], l.tankKPa[0]
	}
	i := min(int(t/launchStepS), len(l.t)-2)
	f := (t - l.t[i]) / (l.t[i+1] - l.t[i])
	return l.pos[i] + f*(l.pos[i+1]-l.pos[i]), l.tankKPa[i] + f*(l.tankKPa[i+1]-l.tankKPa[i])
}

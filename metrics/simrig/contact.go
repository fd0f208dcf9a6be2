package simrig

import "math"

const contactStepS = 50e-6

// body is the state after first touch. Lengths in m from where things stood
// then, in laboratory axes that equal the head axes before the shot; the
// angular velocity is in head axes.
type body struct {
	ram, ramV     float64
	head, headV   vec
	q             quat
	w             vec
	table, tableV float64
	// Energies lost so far, J.
	padJ, neckJ, railJ, guideJ, bufferJ float64
}

// system holds what does not change during one impact.
type system struct {
	ram      Ram
	head     Head
	k, c     float64 // padding
	dir      vec     // of the ram
	point    vec     // of contact, head axes
	slide    vec     // of the table: the horizontal part of dir
	noTarget bool    // a dry stroke
}

// forces at one state.
type forces struct {
	contactN      float64
	crushM        float64
	padW          float64 // power lost in the padding
	neck          vec     // on the head, laboratory axes
	neckStretch   vec
	neckStretchV  vec
	bufferN       float64
	bufferSpringN float64
	guideN        float64
	alphaHead     vec // linear acceleration of the centre of gravity
	alphaW        vec // angular acceleration, head axes
	turn          vec
}

func (s *system) forces(b *body) forces {
	var f forces
	arm := b.q.rotate(s.point)
	wLab := b.q.rotate(b.w)
	if !s.noTarget {
		reach := b.head.add(arm).sub(s.point).dot(s.dir)
		speed := b.headV.add(wLab.cross(arm)).dot(s.dir)
		f.crushM = max(0, b.ram-reach)
		if f.crushM > 0 {
			spring := s.k * f.crushM * math.Sqrt(f.crushM)
			closing := b.ramV - speed
			f.contactN = max(0, spring*(1+s.c*closing))
			f.padW = (f.contactN - spring) * closing
		}
	}
	joint := b.q.rotate(s.head.NeckJointM)
	f.neckStretch = b.head.add(joint).sub(s.head.NeckJointM).sub(s.slide.scale(b.table))
	f.neckStretchV = b.headV.add(wLab.cross(joint)).sub(s.slide.scale(b.tableV))
	f.neck = f.neckStretch.times(s.head.NeckNM).add(f.neckStretchV.times(s.head.NeckNSM)).scale(-1)
	f.turn = b.q.turn()
	f.alphaHead = s.dir.scale(f.contactN).add(f.neck).scale(1 / s.head.MassKG)

	torque := b.q.back(arm.cross(s.dir.scale(f.contactN)).add(joint.cross(f.neck)))
	torque = torque.sub(f.turn.scale(s.head.NeckNMRad)).sub(b.w.scale(s.head.NeckNMSRad))
	torque = torque.sub(b.w.cross(b.w.times(s.head.InertiaKGM2)))
	f.alphaW = torque.divide(s.head.InertiaKGM2)

	if x := b.ram - s.ram.BufferGapM; x > 0 {
		f.bufferSpringN = s.ram.BufferNM * x
		f.bufferN = max(0, f.bufferSpringN+s.ram.BufferNSM*b.ramV*min(1, x/0.002))
	}
	// Friction fades out near rest, so that it never pushes.
	f.guideN = s.ram.GuideFrictionN * math.Tanh(b.ramV/0.01)
	return f
}

// slope is the time derivative of a body.
func (s *system) slope(b *body) body {
	f := s.forces(b)
	q := b.q.rate(b.w)
	return body{
		ram: b.ramV, ramV: -(f.contactN + f.bufferN + f.guideN) / s.ram.MassKG,
		head: b.headV, headV: f.alphaHead, q: q, w: f.alphaW,
		table: b.tableV, tableV: (-f.neck.dot(s.slide) - s.head.RailNSM*b.tableV) / s.head.TableKG,
		padJ: f.padW,
		neckJ: f.neckStretchV.dot(f.neckStretchV.times(s.head.NeckNSM)) +
			s.head.NeckNMSRad*b.w.dot(b.w),
		railJ:   s.head.RailNSM * b.tableV * b.tableV,
		guideJ:  f.guideN * b.ramV,
		bufferJ: (f.bufferN - f.bufferSpringN) * b.ramV,
	}
}

// plus is b + h d.
func (b *body) plus(d *body, h float64) body {
	return body{
		ram: b.ram + h*d.ram, ramV: b.ramV + h*d.ramV,
		head: b.head.add(d.head.scale(h)), headV: b.headV.add(d.headV.scale(h)),
		q: quat{b.q.w + h*d.q.w, b.q.v.add(d.q.v.scale(h))}, w: b.w.add(d.w.scale(h)),
		table: b.table + h*d.table, tableV: b.tableV + h*d.tableV,
		padJ: b.padJ + h*d.padJ, neckJ: b.neckJ + h*d.neckJ, railJ: b.railJ + h*d.railJ,
		guideJ: b.guideJ + h*d.guideJ, bufferJ: b.bufferJ + h*d.bufferJ,
	}
}

// step advances by h with fourth-order Runge-Kutta.
func (s *system) step(b *body, h float64) {
	k1 := s.slope(b)
	m := b.plus(&k1, h/2)
	k2 := s.slope(&m)
	m = b.plus(&k2, h/2)
	k3 := s.slope(&m)
	m = b.plus(&k3, h)
	k4 := s.slope(&m)
	n := b.plus(&k1, h/6)
	n = n.plus(&k2, h/3)
	n = n.plus(&k3, h/3)
	n = n.plus(&k4, h/6)
	n.q = n.q.unit()
	*b = n
}

// Energy is the balance of one shot in joules. Gas work equals all the rest:
// losses, what moves, what is stored in neck, padding and buffer.
type Energy struct {
	GasWorkJ, SealJ, GuideJ                   float64 // guide friction up to contact
	RamAtContactJ                             float64
	PaddingJ, NeckJ, RailJ, BufferJ, GuideRun float64 // lost after contact
	RamEndJ, HeadEndJ, TableEndJ, StoredEndJ  float64 // at the end of the record
}

// stored is the elastic energy of padding, neck and buffer.
func (s *system) stored(b *body) float64 {
	f := s.forces(b)
	e := s.k * math.Pow(f.crushM, 2.5) / 2.5
	e += 0.5 * f.neckStretch.dot(f.neckStretch.times(s.head.NeckNM))
	e += 0.5 * s.head.NeckNMRad * f.turn.dot(f.turn)
	if x := b.ram - s.ram.BufferGapM; x > 0 {
		e += 0.5 * s.ram.BufferNM * x * x
	}
	return e
}

func (s *system) balance(e *Energy, b *body) {
	e.PaddingJ, e.NeckJ, e.RailJ, e.BufferJ, e.GuideRun = b.padJ, b.neckJ, b.railJ, b.bufferJ, b.guideJ
	e.RamEndJ = 0.5 * s.ram.MassKG * b.ramV * b.ramV
	e.HeadEndJ = 0.5*s.head.MassKG*b.headV.dot(b.headV) + 0.5*b.w.dot(b.w.times(s.head.InertiaKGM2))
	e.TableEndJ = 0.5 * s.head.TableKG * b.tableV * b.tableV
	e.StoredEndJ = s.stored(b)
}

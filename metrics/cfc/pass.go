package cfc

// forward runs one pass in place, from the steady state of the first value.
func (f *Filter) forward(x []float64) {
	a, b1, b2 := f.A0, f.B1, f.B2
	x1, x2 := x[0], x[0]
	y1, y2 := x[0], x[0]
	for i, v := range x {
		y := a*(v+2*x1+x2) + b2*y2 + b1*y1
		x2, x1 = x1, v
		y2, y1 = y1, y
		x[i] = y
	}
}

// backward runs one pass in place from the end; samples before stop are not needed.
func (f *Filter) backward(x []float64, stop int) {
	a, b1, b2 := f.A0, f.B1, f.B2
	last := x[len(x)-1]
	x1, x2, y1, y2 := last, last, last, last
	for i := len(x) - 1; i >= stop; i-- {
		v := x[i]
		y := a*(v+2*x1+x2) + b2*y2 + b1*y1
		x2, x1 = x1, v
		y2, y1 = y1, y
		x[i] = y
	}
}

// history is what one lane remembers of the two samples before.
type history struct{ x1, x2, y1, y2 float64 }

func steady(v float64) history { return history{v, v, v, v} }

// forward4 is forward for four channels side by side, with the same result.
func (f *Filter) forward4(p, q, r, s []float64) {
	n := len(p)
	q, r, s = q[:n], r[:n], s[:n]
	a, b1, b2 := f.A0, f.B1, f.B2
	hp, hq, hr, hs := steady(p[0]), steady(q[0]), steady(r[0]), steady(s[0])
	for i := range n {
		vp, vq, vr, vs := p[i], q[i], r[i], s[i]
		yp := a*(vp+2*hp.x1+hp.x2) + b2*hp.y2 + b1*hp.y1
		yq := a*(vq+2*hq.x1+hq.x2) + b2*hq.y2 + b1*hq.y1
		yr := a*(vr+2*hr.x1+hr.x2) + b2*hr.y2 + b1*hr.y1
		ys := a*(vs+2*hs.x1+hs.x2) + b2*hs.y2 + b1*hs.y1
		hp = history{vp, hp.x1, yp, hp.y1}
		hq = history{vq, hq.x1, yq, hq.y1}
		hr = history{vr, hr.x1, yr, hr.y1}
		hs = history{vs, hs.x1, ys, hs.y1}
		p[i], q[i], r[i], s[i] = yp, yq, yr, ys
	}
}

// backward4 is backward for four channels side by side, with the same result.
func (f *Filter) backward4(p, q, r, s []float64, stop int) {
	n := len(p)
	q, r, s = q[:n], r[:n], s[:n]
	a, b1, b2 := f.A0, f.B1, f.B2
	hp, hq, hr, hs := steady(p[n-1]), steady(q[n-1]), steady(r[n-1]), steady(s[n-1])
	for i := n - 1; i >= stop; i-- {
		vp, vq, vr, vs := p[i], q[i], r[i], s[i]
		yp := a*(vp+2*hp.x1+hp.x2) + b2*hp.y2 + b1*hp.y1
		yq := a*(vq+2*hq.x1+hq.x2) + b2*hq.y2 + b1*hq.y1
		yr := a*(vr+2*hr.x1+hr.x2) + b2*hr.y2 + b1*hr.y1
		ys := a*(vs+2*hs.x1+hs.x2) + b2*hs.y2 + b1*hs.y1
		hp = history{vp, hp.x1, yp, hp.y1}
		hq = history{vq, hq.x1, yq, hq.y1}
		hr = history{vr, hr.x1, yr, hr.y1}
		hs = history{vs, hs.x1, ys, hs.y1}
		p[i], q[i], r[i], s[i] = yp, yq, yr, ys
	}
}

package simrig

import "math"

type vec [3]float64

func (a vec) add(b vec) vec           { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) sub(b vec) vec           { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) scale(k float64) vec     { return vec{a[0] * k, a[1] * k, a[2] * k} }
func (a vec) dot(b vec) float64       { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) times(b [3]float64) vec  { return vec{a[0] * b[0], a[1] * b[1], a[2] * b[2]} }
func (a vec) divide(b [3]float64) vec { return vec{a[0] / b[0], a[1] / b[1], a[2] / b[2]} }
func (a vec) norm() float64           { return math.Sqrt(a.dot(a)) }

func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// quat is a rotation from head axes to the laboratory: w, then the vector.
type quat struct {
	w float64
	v vec
}

func (q quat) unit() quat {
	n := math.Sqrt(q.w*q.w + q.v.dot(q.v))
	return quat{q.w / n, q.v.scale(1 / n)}
}

// rotate takes a vector from head axes to the laboratory.
func (q quat) rotate(a vec) vec {
	t := q.v.cross(a).scale(2)
	return a.add(t.scale(q.w)).add(q.v.cross(t))
}

// back takes a vector from the laboratory to head axes.
func (q quat) back(a vec) vec { return quat{q.w, q.v.scale(-1)}.rotate(a) }

// rate is dq/dt for an angular velocity in head axes.
func (q quat) rate(w vec) quat {
	return quat{-0.5 * q.v.dot(w), w.scale(q.w).add(q.v.cross(w)).scale(0.5)}
}

// turn is the rotation vector (axis times angle) in head axes, which are also
// its laboratory axes.
func (q quat) turn() vec {
	s := q.v.norm()
	if s < 1e-12 {
		return q.v.scale(2)
	}
	return q.v.scale(2 * math.Atan2(s, q.w) / s)
}

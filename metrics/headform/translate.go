// Package headform turns what sensors at different places of a head form measure
// into the motion of its centre of gravity.
package headform

import "thudbook/metrics/unit"

// Motion is a rigid head form over time, along head axes x, y, z.
type Motion struct {
	Linear       [3][]float64 // acceleration where the sensors sit, g
	Rate         [3][]float64 // angular velocity, rad/s
	Acceleration [3][]float64 // angular acceleration, rad/s²
}

// AtCentre puts the linear acceleration of the centre of gravity in g into dst;
// dst may be nil slices, or must not share memory with m. positionMM[k] is where
// the accelerometer along axis k sits, in mm from the centre of gravity, head
// axes; the three may sit at different places. All slices must be of one length,
// filtered and aligned in time, or it panics.
//
// Rigid body kinematics: a_CG = a_P + α×r + ω×(ω×r), r from sensor to centre.
func AtCentre(dst [3][]float64, m Motion, positionMM [3][3]float64) [3][]float64 {
	n := len(m.Linear[0])
	for k := range 3 {
		if len(m.Linear[k]) != n || len(m.Rate[k]) != n || len(m.Acceleration[k]) != n {
			panic("headform: channel lengths differ")
		}
		if cap(dst[k]) < n {
			dst[k] = make([]float64, n)
		}
		dst[k] = dst[k][:n]
	}
	for k := range 3 {
		p, q := (k+1)%3, (k+2)%3 // k, p, q are right-handed
		var r [3]float64
		for c := range 3 {
			r[c] = -positionMM[k][c] / 1000
		}
		wk, wp, wq := m.Rate[k], m.Rate[p], m.Rate[q]
		ap, aq := m.Acceleration[p], m.Acceleration[q]
		for i := range n {
			along := ap[i]*r[q] - aq[i]*r[p]
			dot := wk[i]*r[k] + wp[i]*r[p] + wq[i]*r[q]
			square := wk[i]*wk[i] + wp[i]*wp[i] + wq[i]*wq[i]
			along += wk[i]*dot - r[k]*square
			dst[k][i] = m.Linear[k][i] + along/unit.G0
		}
	}
	return dst
}

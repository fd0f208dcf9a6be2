package impact

import "math"

// DAMAGETailS is how long the model runs on after the end of the drive, so that
// the largest deflection of a late pulse is not cut off.
const DAMAGETailS = 0.100

// DAMAGE drives the model of DAMAGEForm with the angular acceleration about x, y
// and z in rad/s², evenly spaced, and returns beta times its largest deflection
// with its time in seconds after the first sample.
//
// Damping is proportional to stiffness and the masses are equal, so the model
// falls apart into three oscillators along the eigenvectors of the stiffness
// matrix; each is advanced by its exact state transition for a drive that is a
// straight line between samples. After the last sample the drive is zero for
// DAMAGETailS, in steps of at least 50 µs: they are exact too. The eigenvectors are orthogonal: the deflection has the same length
// in either system.
func DAMAGE(alpha [3][]float64, rateHz float64) (value, atS float64) {
	n := len(alpha[0])
	if n == 0 {
		return 0, 0
	}
	if len(alpha[1]) != n || len(alpha[2]) != n {
		panic("impact: channel lengths differ")
	}
	d := DAMAGEForm()
	modes := damageModes(d, 1/rateHz)
	largest, at := 0.0, 0
	x, y, z := alpha[0], alpha[1], alpha[2]
	var s [3]oscillator
	var before [3]float64
	for m := range modes {
		before[m] = modes[m].drive(x[0], y[0], z[0])
	}
	for i := 1; i < n; i++ {
		sum := 0.0
		for m := range modes {
			q := modes[m].drive(x[i], y[i], z[i])
			s[m] = modes[m].advance(s[m], before[m], q)
			before[m] = q
			sum += s[m].deflection * s[m].deflection
		}
		if sum > largest {
			largest, at = sum, i
		}
	}
	atS = float64(at) / rateHz
	step := tailStep(rateHz)
	modes = damageModes(d, step)
	for i := range int(math.Ceil(DAMAGETailS / step)) {
		sum := 0.0
		for m := range modes {
			s[m] = modes[m].advance(s[m], 0, 0)
			sum += s[m].deflection * s[m].deflection
		}
		if sum > largest {
			largest, atS = sum, float64(n-1)/rateHz+float64(i+1)*step
		}
	}
	return d.Value("beta") * math.Sqrt(largest), atS
}

// tailStep is the step in seconds by which the model runs on after the record.
func tailStep(rateHz float64) float64 { return max(1/rateHz, 50e-6) }

// oscillator is the state of one mode.
type oscillator struct{ deflection, velocity float64 }

// mode is one oscillator: its direction and its state transition over one step,
// split into the parts of state, drive before, and drive after.
type mode struct {
	direction      [3]float64
	pd, pv, pb, pa float64 // to the deflection
	vd, vv, vb, va float64 // to the velocity
}

func (m *mode) drive(x, y, z float64) float64 {
	return m.direction[0]*x + m.direction[1]*y + m.direction[2]*z
}

func (m *mode) advance(s oscillator, before, after float64) oscillator {
	return oscillator{
		deflection: m.pd*s.deflection + m.pv*s.velocity + m.pb*before + m.pa*after,
		velocity:   m.vd*s.deflection + m.vv*s.velocity + m.vb*before + m.va*after,
	}
}

// damageModes finds the three modes and their transitions over a step in seconds.
func damageModes(d Definition, step float64) [3]mode {
	kxx, kyy, kzz := d.Value("kxx"), d.Value("kyy"), d.Value("kzz")
	kxy, kyz, kxz := d.Value("kxy"), d.Value("kyz"), d.Value("kxz")
	stiffness, vectors := eigen([3][3]float64{
		{kxx + kxy + kxz, -kxy, -kxz},
		{-kxy, kxy + kyy + kyz, -kyz},
		{-kxz, -kyz, kxz + kyz + kzz},
	})
	var modes [3]mode
	for m := range modes {
		k, c := stiffness[m], d.Value("a1")*stiffness[m]
		// state: deflection, velocity, drive, rise of the drive over one step
		e := exponential([4][4]float64{
			{0, step, 0, 0},
			{-k * step, -c * step, step, 0},
			{0, 0, 0, 1},
			{0, 0, 0, 0},
		})
		modes[m] = mode{
			direction: [3]float64{vectors[0][m], vectors[1][m], vectors[2][m]},
			pd:        e[0][0], pv: e[0][1], pb: e[0][2] - e[0][3], pa: e[0][3],
			vd: e[1][0], vv: e[1][1], vb: e[1][2] - e[1][3], va: e[1][3],
		}
	}
	return modes
}

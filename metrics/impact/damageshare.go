package impact

import "math"

// DAMAGEShares splits the deflection of the model at a time in seconds after the
// first sample, times beta, by the axis that drove it: shares[axis] are the
// components along the model's own directions. The shares of the three axes add
// up to a vector as long as DAMAGE when the time is that of DAMAGE. The drive of
// one axis is its angular acceleration in rad/s²; the three slices are of one length.
func DAMAGEShares(alpha [3][]float64, rateHz, timeS float64) (shares [3][3]float64) {
	d := DAMAGEForm()
	n := len(alpha[0])
	modes := damageModes(d, 1/rateHz)
	inside := min(int(math.Round(min(timeS*rateHz, float64(n)))), n-1)
	step := tailStep(rateHz)
	tail := damageModes(d, step)
	after := int(math.Round(min(timeS-float64(inside)/rateHz, DAMAGETailS+step) / step))
	for axis, x := range alpha {
		var s [3]oscillator
		for m := range s {
			w := modes[m].direction[axis]
			for i := 1; i <= inside; i++ {
				s[m] = modes[m].advance(s[m], w*x[i-1], w*x[i])
			}
			for range after {
				s[m] = tail[m].advance(s[m], 0, 0)
			}
			shares[axis][m] = d.Value("beta") * s[m].deflection
		}
	}
	return shares
}

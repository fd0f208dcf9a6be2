package headform

import (
	"math"

	"thudbook/metrics/unit"
)

// Accelerometer is one linear accelerometer of an arrangement.
type Accelerometer struct {
	Axis       int        // 0, 1, 2 for x, y, z
	PositionMM [3]float64 // from the centre of gravity, head axes
}

// Nine is the arrangement of nine accelerometers, 3-2-2-2: three at one place, and
// two on each of three arms along x, y, z that are sensitive across their arm.
// Padgaonkar, Krieger & King, J. Appl. Mech. 42 (1975) 552-556 (formulas from memory,
// not confirmed against print; checked here against rigid-body kinematics).
//
// The angular acceleration follows without integration, so it does not drift.
type Nine struct {
	Centre [3]int // index of the central accelerometer along x, y, z
	// Arm[k] are the indices of the two on the arm along axis k: first that along the
	// axis after k (of x, y, z, x), then that along the axis before it.
	Arm  [3][2]int
	armM [3][2]float64 // their signed distance from the central one of the same axis
}

// Limits of FindNine; common practice, no published source.
const (
	offArmMM      = 1  // an accelerometer may stand off its arm by so much
	shortestArmMM = 10 // an arm below this says nothing against noise
)

// FindNine tells whether the accelerometers are nine, three along each axis, of which
// two lie on arms along the other two axes; arms may point to either side and differ
// in length.
func FindNine(s []Accelerometer) (n Nine, ok bool) {
	if len(s) != 9 {
		return Nine{}, false
	}
	var along [3][]int
	for i, a := range s {
		if a.Axis < 0 || a.Axis > 2 {
			return Nine{}, false
		}
		along[a.Axis] = append(along[a.Axis], i)
	}
	for axis, group := range along {
		if len(group) != 3 || !n.place(s, axis, group) {
			return Nine{}, false
		}
	}
	return n, true
}

// place finds which of the three accelerometers along an axis is the central one.
func (n *Nine) place(s []Accelerometer, axis int, group []int) bool {
	for c := range 3 {
		first, firstM := armOf(s, axis, group[c], group[(c+1)%3])
		second, secondM := armOf(s, axis, group[c], group[(c+2)%3])
		if first < 0 || second < 0 || first == second {
			continue
		}
		n.Centre[axis] = group[c]
		n.put(first, axis, group[(c+1)%3], firstM)
		n.put(second, axis, group[(c+2)%3], secondM)
		return true
	}
	return false
}

// armOf is the axis along which accelerometer i lies from the central one, across
// its own axis, and how far; −1 when it lies on no arm.
func armOf(s []Accelerometer, axis, centre, i int) (arm int, distanceM float64) {
	arm = -1
	for k := range 3 {
		d := s[i].PositionMM[k] - s[centre].PositionMM[k]
		switch {
		case math.Abs(d) <= offArmMM:
		case k == axis || arm >= 0 || !(math.Abs(d) >= shortestArmMM):
			return -1, 0
		default:
			arm, distanceM = k, d/1000
		}
	}
	return arm, distanceM
}

// put stores an accelerometer of an arm.
func (n *Nine) put(arm, axis, index int, distanceM float64) {
	at := 0
	if axis == (arm+2)%3 {
		at = 1
	}
	n.Arm[arm][at], n.armM[arm][at] = index, distanceM
}

// gradient is the change of acceleration from the central accelerometer to one of an
// arm, divided by the distance, in 1/s²; g are the nine signals in g.
func (n *Nine) gradient(g *[9][]float64, arm, at, i int) float64 {
	axis := (arm + 1 + at) % 3
	return unit.G0 * (g[n.Arm[arm][at]][i] - g[n.Centre[axis]][i]) / n.armM[arm][at]
}

// at gives angular acceleration in rad/s² and the products of the angular velocities
// about the two other axes in rad²/s², both from the nine signals at sample i alone.
func (n *Nine) at(g *[9][]float64, i int) (alpha, product [3]float64) {
	for k := range 3 {
		p, q := (k+1)%3, (k+2)%3
		a, b := n.gradient(g, p, 0, i), n.gradient(g, q, 1, i)
		alpha[k], product[k] = (a-b)/2, (a+b)/2
	}
	return alpha, product
}

// Acceleration puts the angular acceleration in rad/s² into dst; g are the signals in
// g, in the order of the accelerometers given to FindNine, dst three slices of their
// length:
//
//	αx = (az2 − az0)/(2ρy) − (ay3 − ay0)/(2ρz), and so on round the axes,
//
// where 0 is the centre, and 1, 2, 3 the arms along x, y, z of length ρ.
func (n *Nine) Acceleration(dst [3][]float64, g *[9][]float64) {
	for i := range dst[0] {
		alpha, _ := n.at(g, i)
		dst[0][i], dst[1][i], dst[2][i] = alpha[0], alpha[1], alpha[2]
	}
}

// Integrate puts the angular velocity in rad/s into dst, from rest at the first
// sample, by the trapezoid rule. timeS is nil for even samples, rateHz a second.
func Integrate(dst, acceleration [3][]float64, timeS []float64, rateHz float64) {
	for k := range 3 {
		sum := 0.0
		for i := range dst[k] {
			if i > 0 {
				step := 1 / rateHz
				if timeS != nil {
					step = timeS[i] - timeS[i-1]
				}
				sum += step * (acceleration[k][i-1] + acceleration[k][i]) / 2
			}
			dst[k][i] = sum
		}
	}
}

package impact

import (
	"math"

	"thudbook/metrics/unit"
)

// VelocityChange is the largest |∫ a dt| in m/s of the acceleration vector (g),
// integrated by the trapezoid rule from sample first to sample last. axes are one
// to three orthogonal components. at is the sample where it is largest; change
// holds the components there.
func VelocityChange(t Trace, axes [][]float64, first, last int) (speedMS float64, at int, change [3]float64) {
	at = first
	var v [3]float64
	for i := first; i < last; i++ {
		half := unit.G0 * t.step(i) / 2
		square := 0.0
		for k, a := range axes {
			v[k] += half * (a[i] + a[i+1])
			square += v[k] * v[k]
		}
		if square > speedMS {
			speedMS, at, change = square, i+1, v
		}
	}
	return math.Sqrt(speedMS), at, change
}

// Magnitude puts the length of the vector with the given components into dst and
// returns it; axes are one or more orthogonal components of one unit.
func Magnitude(dst []float64, axes ...[]float64) []float64 {
	n := len(axes[0])
	if cap(dst) < n {
		dst = make([]float64, n)
	}
	dst = dst[:n]
	switch len(axes) {
	case 1:
		for i, x := range axes[0] {
			dst[i] = math.Abs(x)
		}
	case 3:
		x, y, z := axes[0], axes[1][:n], axes[2][:n]
		for i := range dst {
			dst[i] = math.Sqrt(x[i]*x[i] + y[i]*y[i] + z[i]*z[i])
		}
	default:
		for i := range dst {
			sum := 0.0
			for _, a := range axes {
				sum += a[i] * a[i]
			}
			dst[i] = math.Sqrt(sum)
		}
	}
	return dst
}

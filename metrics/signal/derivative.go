package signal

// Derivative puts the time derivative of evenly spaced samples into dst and
// returns it; dst may be nil but must not be src. The unit is that of src per
// second. Inside it is the five-point stencil
// (x[i−2] − 8 x[i−1] + 8 x[i+1] − x[i+2])/(12 Δt), exact for polynomials up to the
// fourth degree; the two samples at each end use the one-sided stencils of the
// same order (Abramowitz and Stegun, table 25.2). Fewer than five samples give zeros.
func Derivative(dst, src []float64, rateHz float64) []float64 {
	n := len(src)
	if cap(dst) < n {
		dst = make([]float64, n)
	}
	dst = dst[:n]
	if n < 5 {
		clear(dst)
		return dst
	}
	k := rateHz / 12
	for i := 2; i < n-2; i++ {
		dst[i] = k * ((src[i-2] - src[i+2]) + 8*(src[i+1]-src[i-1]))
	}
	dst[0], dst[1] = oneSided(src[0], src[1], src[2], src[3], src[4], k)
	last, beside := oneSided(src[n-1], src[n-2], src[n-3], src[n-4], src[n-5], -k)
	dst[n-1], dst[n-2] = last, beside
	return dst
}

// oneSided gives the derivative at the first and second of five samples.
func oneSided(a, b, c, d, e, k float64) (first, second float64) {
	return k * (-25*a + 48*b - 36*c + 16*d - 3*e), k * (-3*a - 10*b + 18*c - 6*d + e)
}

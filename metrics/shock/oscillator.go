package shock

import "math"

// oscillator is one system over one sample step. Its state is u = ω²·z and
// w = ω·ż with the relative displacement z, both in the unit of the record; with
// θ = ω·t they follow du/dθ = w, dw/dθ = −a − 2ζw − u, and the absolute
// acceleration is −(u + 2ζw).
type oscillator struct {
	zeta           float64
	uu, uw, ub, ua float64 // next u from u, w, the sample before, the sample after
	wu, ww, wb, wa float64 // next w likewise
}

// design works out the state transition over θ = 2πf/rate for an input that is a
// straight line: the exponential of the 4×4 matrix of state, input, and rise of the
// input over the step (Van Loan 1978, IEEE Transactions on Automatic Control 23,
// 395-404). Its series has no differences of nearly equal numbers, so the
// coefficients keep their relative accuracy however small θ is.
func design(frequencyHz, zeta, rateHz float64) oscillator {
	theta := 2 * math.Pi * frequencyHz / rateHz
	halvings := 0
	for h := theta; h > 0.125; h /= 2 {
		halvings++
	}
	h := math.Ldexp(theta, -halvings)
	// φ is the response u to a unit impulse; g holds φ', φ, ∫φ, ∫∫φ at h
	g := impulse(h, zeta)
	o := oscillator{
		zeta: zeta,
		uu:   1 - g[2], uw: g[1], wu: -g[1], ww: g[0],
	}
	ramp, step := g[3]/h, g[2] // to u, of an input that rises to 1 over h; of a constant 1
	o.ua, o.ub = -ramp, -(step - ramp)
	ramp, step = g[2]/h, g[1] // to w
	o.wa, o.wb = -ramp, -(step - ramp)
	for range halvings {
		o = o.doubled()
	}
	return o
}

// impulse sums the series of the slope of the impulse response, of itself, and of
// its first and second integral at h ≤ 1/8. With u″ + 2ζu' + u = 0, u(0) = 0, u'(0) = 1 the derivatives at 0 follow
// d(n+2) = −2ζ·d(n+1) − d(n).
func impulse(h, zeta float64) (g [4]float64) {
	before, now := 0.0, 1.0 // derivatives n and n+1 of u at 0, n = 0
	// u' = Σ d(n+1) h^n/n!, and each further integral shifts the power by one
	power := [4]float64{1, h, h * h / 2, h * h * h / 6} // h^(n+k)/(n+k)!
	for n := 0; n < 24; n++ {
		for k := range g {
			g[k] += now * power[k]
		}
		before, now = now, -2*zeta*now-before
		for k := range power {
			power[k] *= h / float64(n+k+1)
		}
	}
	return g
}

// doubled is the transition over two steps whose input is one straight line.
func (o oscillator) doubled() oscillator {
	// the sample between is the mean of before and after
	ub, wb := o.ub+o.ua/2, o.wb+o.wa/2 // first step: of the sample before
	ua, wa := o.ua/2, o.wa/2           // first step: of the sample after
	return oscillator{
		zeta: o.zeta,
		uu:   o.uu*o.uu + o.uw*o.wu, uw: o.uu*o.uw + o.uw*o.ww,
		wu: o.wu*o.uu + o.ww*o.wu, ww: o.wu*o.uw + o.ww*o.ww,
		ub: o.uu*ub + o.uw*wb + o.ub/2, ua: o.uu*ua + o.uw*wa + o.ub/2 + o.ua,
		wb: o.wu*ub + o.ww*wb + o.wb/2, wa: o.wu*ua + o.ww*wa + o.wb/2 + o.wa,
	}
}

// run drives the system from rest with a record and lets it ring.
func (o *oscillator) run(acceleration []float64) (p Point) {
	var u, w, before, high, low, uHigh, uLow float64
	uu, uw, ub, ua := o.uu, o.uw, o.ub, o.ua
	wu, ww, wb, wa := o.wu, o.ww, o.wb, o.wa
	damping := 2 * o.zeta
	for _, a := range acceleration {
		u, w = uu*u+uw*w+(ub*before+ua*a), wu*u+ww*w+(wb*before+wa*a)
		before = a
		s := u + damping*w // the absolute acceleration with its sign turned
		if s > high {
			high = s
		} else if s < low {
			low = s
		}
		if u > uHigh {
			uHigh = u
		} else if u < uLow {
			uLow = u
		}
	}
	p.Primary = Extremes{Positive: 0 - low, Negative: high}
	p.StaticPrimary = Extremes{Positive: uHigh, Negative: 0 - uLow}
	u, w = uu*u+uw*w+ub*before, wu*u+ww*w+wb*before // the input returns to zero
	p.Residual = o.free(-(u + damping*w), -(w + damping*(-damping*w-u)))
	p.StaticResidual = o.free(u, w)
	return p
}

// free gives the extremes of x″ + 2ζx' + x = 0 from x and x' on: the start itself
// and the first two turning points, behind which damping leaves less.
func (o *oscillator) free(x, dx float64) (e Extremes) {
	e.include(x)
	q := math.Sqrt(1 - o.zeta*o.zeta) // damped frequency
	c, d := x, (dx+o.zeta*x)/q        // x = exp(−ζθ) (c cos qθ + d sin qθ)
	size := math.Hypot(c, d)
	if size == 0 {
		return e
	}
	// the turning points are where qθ = atan2(d, c) − asin ζ + kπ; x is ±q·size there,
	// but for the decay
	at, sign := math.Atan2(d, c)-math.Asin(o.zeta), 1.0
	for at < 0 {
		at, sign = at+math.Pi, -sign
	}
	for range 2 {
		e.include(sign * size * q * math.Exp(-o.zeta*at/q))
		at, sign = at+math.Pi, -sign
	}
	return e
}

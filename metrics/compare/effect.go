package compare

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// Effect is a difference of means in standard deviations.
type Effect struct {
	// G is Hedges g: the difference over the pooled standard deviation, times
	// the exact factor that takes out the bias of small samples (Hedges, J.
	// Educ. Statist. 6 (1981) 107-128).
	G float64
	// Low and High hold the true ratio at the level of the comparison. They
	// come from the noncentral t distribution, exactly, without Factor, and so
	// lie about the plain ratio; they take the standard deviations of both
	// groups for equal. With very unequal ones read the difference itself.
	Low, High float64
	PooledSD  float64
	Factor    float64 // G is Factor times the plain ratio
}

func hedges(a, b Summary, level float64) Effect {
	na, nb := float64(a.N), float64(b.N)
	df := na + nb - 2
	e := Effect{PooledSD: math.Sqrt(((na-1)*a.SD*a.SD + (nb-1)*b.SD*b.SD) / df), Factor: smallSample(df)}
	scale := math.Sqrt(1/na + 1/nb)
	d := (a.Mean - b.Mean) / e.PooledSD
	e.G = e.Factor * d
	tail := (1 - level) / 2
	rule := newRule(80)
	e.Low = scale * rule.noncentrality(d/scale, df, 1-tail)
	e.High = scale * rule.noncentrality(d/scale, df, tail)
	return e
}

// smallSample is Γ(m/2) / (√(m/2) Γ((m-1)/2)).
func smallSample(m float64) float64 {
	if m > 1e6 {
		return 1 - 3/(4*m-1) // equal in double precision
	}
	hi, _ := math.Lgamma(m / 2)
	lo, _ := math.Lgamma((m - 1) / 2)
	return math.Exp(hi-lo) / math.Sqrt(m/2)
}

// rule is a Gauss-Legendre rule on (-1, 1).
type rule struct{ x, w []float64 }

func newRule(points int) rule {
	r := rule{make([]float64, points), make([]float64, points)}
	quad.Legendre{}.FixedLocations(r.x, r.w, -1, 1)
	return r
}

// noncentrality finds the parameter for which a noncentral t variable is at
// most t with probability prob. The probability falls as it grows: two ends are
// found around it, and drawn together by false position, halving the weight of
// an end that stays (the Illinois rule).
func (r rule) noncentrality(t, df, prob float64) float64 {
	f := func(delta float64) float64 { return r.noncentralT(t, df, delta) - prob }
	step := 1 + math.Abs(t)/math.Sqrt(df)
	lo, hi := t-step, t+step
	flo, fhi := f(lo), f(hi)
	for ; flo < 0; step *= 2 {
		lo -= step
		flo = f(lo)
	}
	for ; fhi > 0; step *= 2 {
		hi += step
		fhi = f(hi)
	}
	stayed := 0
	for range 200 {
		mid := lo + (hi-lo)*flo/(flo-fhi)
		if !(mid > lo && mid < hi) || hi-lo <= 1e-13*(1+math.Abs(mid)) {
			break
		}
		fm := f(mid)
		switch {
		case fm == 0:
			return mid
		case fm > 0:
			lo, flo = mid, fm
			if stayed > 0 {
				fhi /= 2
			}
			stayed = 1
		default:
			hi, fhi = mid, fm
			if stayed < 0 {
				flo /= 2
			}
			stayed = -1
		}
	}
	return lo + (hi-lo)*flo/(flo-fhi)
}

// noncentralT is the probability that a noncentral t variable is at most t:
// the integral of Φ(t s - delta) over the density of s = √(χ²/df), by
// Gauss-Legendre quadrature in pieces that meet where the argument of Φ is
// zero. It holds for any size of delta.
func (r rule) noncentralT(t, df, delta float64) float64 {
	spread := 1 / math.Sqrt(2*df)
	from, to := max(0, 1-12*spread), 1+12*spread
	lg, _ := math.Lgamma(df / 2)
	c := math.Ln2 + df/2*math.Log(df/2) - lg
	f := func(s float64) float64 {
		if s <= 0 {
			s = math.SmallestNonzeroFloat64
		}
		density := math.Exp(c + (df-1)*math.Log(s) - df/2*s*s)
		return density * distuv.UnitNormal.CDF(t*s-delta)
	}
	ends := []float64{from, to}
	if t != 0 {
		centre, half := delta/t, 9/math.Abs(t)
		for _, e := range []float64{centre - half, centre, centre + half} {
			if e > ends[len(ends)-2] && e < to {
				ends = append(ends[:len(ends)-1], e, to)
			}
		}
	}
	sum := 0.0
	for i := range ends[1:] {
		mid, half := (ends[i]+ends[i+1])/2, (ends[i+1]-ends[i])/2
		for k, v := range r.x {
			sum += r.w[k] * half * f(mid+half*v)
		}
	}
	return sum
}

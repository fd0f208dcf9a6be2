package wear

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Planned is strokes that are planned: evenly from FromDays to ToDays from now,
// or all at FromDays where ToDays is not later.
type Planned struct {
	Strokes          float64
	FromDays, ToDays float64
}

// by is how many of them are made until a day.
func (p *Planned) by(day float64) float64 {
	switch {
	case day < p.FromDays:
		return 0
	case day >= p.ToDays:
		return p.Strokes
	}
	return p.Strokes * (day - p.FromDays) / (p.ToDays - p.FromDays)
}

// UntilPlanned is Until with strokes that are planned beside those that u
// counted, which are to be without the planned ones. Planned strokes P(t) come as
// planned, the others N(t) as in Until: with λ ~ Gamma(k + ½, d), N(t) is negative
// binomial, and the strokes have run down by t with the probability
// P(N(t) ≥ left − P(t)) = I_x(left − P(t), k + ½), x = t/(t + d), which is its
// distribution function as a regularised incomplete beta function (NIST DLMF
// 8.17.24 gives the negative binomial sum; the number of the equation from memory).
// Dispersion divides counts as in Until. Where strokes are planned, u may have none.
func UntilPlanned(left int64, u Use, plan []Planned, probability float64) (Forecast, error) {
	total := 0.0
	for i := range plan {
		total += plan[i].Strokes
	}
	if total <= 0 {
		return Until(left, u, probability)
	}
	if !(u.Days >= MinDays) || math.IsInf(u.Days, 0) {
		return Forecast{}, ErrShort
	}
	f := Forecast{PerDay: float64(u.Strokes) / u.Days, Dispersion: Dispersion(u.Weeks)}
	if left <= 0 {
		return f, nil
	}
	if u.Strokes <= 0 && total < float64(left) {
		return Forecast{}, ErrIdle
	}
	b := float64(u.Strokes)/f.Dispersion + 0.5
	reached := func(day float64) float64 {
		rest := float64(left)
		for i := range plan {
			rest -= plan[i].by(day)
		}
		if rest <= 0 {
			return 1
		}
		return mathext.RegIncBeta(rest/f.Dispersion, b, day/(day+u.Days))
	}
	quantile := func(p float64) float64 {
		lo, hi := 0.0, 1.0
		for reached(hi) < p && hi < mostDays {
			lo, hi = hi, 2*hi
		}
		for range 80 { // both ends are the same number then
			if mid := (lo + hi) / 2; reached(mid) < p {
				lo = mid
			} else {
				hi = mid
			}
		}
		return hi
	}
	tail := (1 - min(max(probability, 0), 1)) / 2
	f.Low, f.Median, f.High = quantile(tail), quantile(0.5), quantile(1-tail)
	return f, nil
}

// mostDays bounds the search for a date.
const mostDays = 1 << 20

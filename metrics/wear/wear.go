// Package wear forecasts when a counter of strokes will have run down, from how
// fast it ran lately.
//
// Strokes are taken as a Poisson process whose rate stays what it was: k
// strokes in t days say of the rate λ that, with the Jeffreys prior,
// λ ~ Gamma(k + ½, t); the time to the L-th stroke from now is Gamma(L, λ).
// Together the time T that is left is an inverted beta variable,
// T/t ~ B/(1 − B) with B ~ Beta(L, k + ½), whose quantiles are the forecast.
// (Hahn and Meeker, Statistical Intervals, give the same interval as an F
// quantile; not confirmed against print.)
//
// Strokes come in series, with idle days between. The excess is measured as the
// ratio φ of variance to mean of weekly counts, as in quasi-Poisson models, and
// taken into account by counting L/φ and k/φ independent events.
package wear

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Use is how much something was used lately.
type Use struct {
	Days    float64 // observed, > 0
	Strokes int64   // in those days
	Weeks   []int64 // strokes of whole weeks within them, any order; fewer than MinWeeks: strokes are taken as independent
}

// MinWeeks is how many whole weeks it takes to judge how unevenly something is used.
const MinWeeks = 4

// MinDays is the shortest observation from which a forecast is made.
const MinDays = 7

// Forecast is the time until a number of strokes is reached, in days.
type Forecast struct {
	Median     float64
	Low, High  float64 // bounds of the central interval
	PerDay     float64 // mean rate of use
	Dispersion float64 // φ, at least 1
}

// What stands in the way of a forecast.
var (
	ErrShort = errors.New("it was observed for less than a week")
	ErrIdle  = errors.New("it was not used lately")
)

// Dispersion gives φ, the ratio of the sample variance to the mean of weekly
// counts, at least 1; 1 too with fewer than MinWeeks weeks or without strokes.
func Dispersion(weeks []int64) float64 {
	n := float64(len(weeks))
	var sum float64
	for _, w := range weeks {
		sum += float64(w)
	}
	if len(weeks) < MinWeeks || sum <= 0 {
		return 1
	}
	mean, squares := sum/n, 0.0
	for _, w := range weeks {
		squares += (float64(w) - mean) * (float64(w) - mean)
	}
	return max(1, squares/(n-1)/mean)
}

// Until forecasts when left more strokes will have been made, with a central
// interval of the given probability, as 0.9. Nothing left is due now.
func Until(left int64, u Use, probability float64) (Forecast, error) {
	if !(u.Days >= MinDays) || math.IsInf(u.Days, 0) {
		return Forecast{}, ErrShort
	}
	if u.Strokes <= 0 {
		return Forecast{}, ErrIdle
	}
	f := Forecast{PerDay: float64(u.Strokes) / u.Days, Dispersion: Dispersion(u.Weeks)}
	if left <= 0 {
		return f, nil
	}
	a, b := float64(left)/f.Dispersion, float64(u.Strokes)/f.Dispersion+0.5
	quantile := func(p float64) float64 {
		x := mathext.InvRegIncBeta(a, b, p)
		return u.Days * x / (1 - x)
	}
	tail := (1 - min(max(probability, 0), 1)) / 2
	f.Low, f.Median, f.High = quantile(tail), quantile(0.5), quantile(1-tail)
	return f, nil
}

package compare

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"

	"thudbook/metrics/fault"
)

// Proportion is a share of successes, for instance of shots within a limit,
// with its exact interval.
type Proportion struct {
	Successes, Trials int
	Value             float64
	Level             float64
	Low, High         float64
}

// NewProportion gives the share with the interval of Clopper and Pearson
// (Biometrika 26 (1934) 404-413), which holds the true share at the given
// level at least. Counts that do not fit are a *fault.Error. It panics on a
// level outside (0, 1).
func NewProportion(successes, trials int, level float64) (Proportion, error) {
	wantLevel(level)
	if err := counts(successes, trials); err != nil {
		return Proportion{}, err
	}
	x, n, tail := float64(successes), float64(trials), (1-level)/2
	p := Proportion{Successes: successes, Trials: trials, Value: x / n, Level: level, Low: 0, High: 1}
	if successes > 0 {
		p.Low = mathext.InvRegIncBeta(x, n-x+1, tail)
	}
	if successes < trials {
		p.High = mathext.InvRegIncBeta(x+1, n-x, 1-tail)
	}
	return p, nil
}

// BinomialTest is the exact two-sided probability of a count as unlikely as
// the one seen, or less likely, when the true share is share. Counts that do
// not fit are a *fault.Error; it panics on a share outside [0, 1]. The time
// grows with the logarithm of trials.
func BinomialTest(successes, trials int, share float64) (float64, error) {
	if !(share >= 0 && share <= 1) {
		panic("compare: a share is between 0 and 1")
	}
	if err := counts(successes, trials); err != nil {
		return 0, err
	}
	switch share {
	case 0:
		return indicator(successes == 0), nil
	case 1:
		return indicator(successes == trials), nil
	}
	// Counts that tie with the one seen must not be lost to rounding.
	least := logBinomial(successes, trials, share) + 1e-7
	mean := float64(trials) * share
	x := float64(successes)
	if x == mean {
		return 1, nil
	}
	if x < mean {
		// The smallest count above the mode that is as unlikely.
		y := search(int(math.Ceil(mean)), trials+1, func(k int) bool { return logBinomial(k, trials, share) <= least })
		return min(1, atMost(successes, trials, share)+atMost(trials-y, trials, 1-share)), nil
	}
	// The largest count below the mode that is as unlikely.
	y := -search(-int(math.Floor(mean)), 1, func(k int) bool { return logBinomial(-k, trials, share) <= least })
	return min(1, atMost(trials-successes, trials, 1-share)+atMost(y, trials, share)), nil
}

// search finds the first k in [lo, hi) for which f holds, and hi if none; once
// f holds it holds for all later k.
func search(lo, hi int, f func(int) bool) int {
	for lo < hi {
		mid := lo + (hi-lo)/2
		if f(mid) {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

func logBinomial(k, n int, p float64) float64 {
	lg := func(v int) float64 { r, _ := math.Lgamma(float64(v) + 1); return r }
	return lg(n) - lg(k) - lg(n-k) + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p)
}

// atMost is the probability of k successes or fewer.
func atMost(k, n int, p float64) float64 {
	switch {
	case k < 0:
		return 0
	case k >= n:
		return 1
	}
	return mathext.RegIncBeta(float64(n-k), float64(k+1), 1-p)
}

func indicator(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func counts(successes, trials int) error {
	if trials >= 1 && successes >= 0 && successes <= trials {
		return nil
	}
	return &fault.Error{Code: BadCount,
		What: fmt.Sprintf("%d of %d is not a share", successes, trials),
		Fix:  "give one trial at least, and successes between none and all of them"}
}

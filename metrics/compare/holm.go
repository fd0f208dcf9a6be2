package compare

import "slices"

// Holm corrects probabilities for being many (Holm, Scand. J. Statist. 6
// (1979) 65-70): rejecting where the result is at most alpha keeps the
// probability of any false rejection at alpha, whatever the dependence. The
// result is in the order of p. It panics on a value that is not a probability.
func Holm(p []float64) []float64 {
	order := make([]int, len(p))
	for i, v := range p {
		if !(v >= 0 && v <= 1) {
			panic("compare: a probability is between 0 and 1")
		}
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		switch {
		case p[i] < p[j]:
			return -1
		case p[i] > p[j]:
			return 1
		}
		return 0
	})
	out := make([]float64, len(p))
	so := 0.0
	for rank, i := range order {
		so = max(so, min(1, float64(len(p)-rank)*p[i]))
		out[i] = so
	}
	return out
}

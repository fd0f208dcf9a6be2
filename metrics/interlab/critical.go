package interlab

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// HCritical is the two-sided critical value of Mandel's h for p laboratories
// at level alpha, from Student's t with p-2 degrees of freedom. It panics for
// fewer than three laboratories or an alpha outside (0, 1).
func HCritical(p int, alpha float64) float64 {
	wantLevel(alpha)
	if p < 3 {
		panic("interlab: Mandel's h needs three laboratories")
	}
	t := studentT(1-alpha/2, p-2)
	n := float64(p)
	return (n - 1) * t / math.Sqrt(n*(t*t+n-2))
}

// KCritical is the critical value of Mandel's k for p laboratories with n
// replicates each at level alpha, from the F distribution with n-1 and
// (p-1)(n-1) degrees of freedom. It panics for fewer than two laboratories or
// replicates, or an alpha outside (0, 1).
func KCritical(p, n int, alpha float64) float64 {
	if p < 2 || n < 2 {
		panic("interlab: Mandel's k needs two laboratories and two replicates")
	}
	return kCritical(n-1, p*(n-1), alpha)
}

// kCritical allows for different numbers of replicates. With df degrees of
// freedom of the laboratory out of total, k² df/total is the laboratory's
// share of the pooled sum of squares: a beta variable.
func kCritical(df, total int, alpha float64) float64 {
	wantLevel(alpha)
	a, b := float64(df)/2, float64(total-df)/2
	return math.Sqrt(float64(total) / float64(df) * mathext.InvRegIncBeta(a, b, 1-alpha))
}

// CochranCritical is the critical value of Cochran's C for p laboratories with
// n replicates each, at level alpha: the largest of p shares, each at alpha/p
// (Bonferroni), as ISO 5725-2 tabulates it. It panics for fewer than two
// laboratories or replicates, or an alpha outside (0, 1).
func CochranCritical(p, n int, alpha float64) float64 {
	wantLevel(alpha)
	if p < 2 || n < 2 {
		panic("interlab: Cochran's test needs two laboratories and two replicates")
	}
	df := float64(n - 1)
	return mathext.InvRegIncBeta(df/2, float64(p-1)*df/2, 1-alpha/float64(p))
}

// GrubbsCritical is the critical value of Grubbs' test for the one farthest of
// p laboratories at level alpha, from Student's t with p-2 degrees of freedom
// at alpha/(2p), as ISO 5725-2 tabulates it. It panics for fewer than three
// laboratories or an alpha outside (0, 1).
func GrubbsCritical(p int, alpha float64) float64 {
	wantLevel(alpha)
	if p < 3 {
		panic("interlab: Grubbs' test needs three laboratories")
	}
	n := float64(p)
	t := studentT(1-alpha/(2*n), p-2)
	return (n - 1) / math.Sqrt(n) * math.Sqrt(t*t/(n-2+t*t))
}

// GrubbsPairCritical gives the 1 % and 5 % critical values of Grubbs' test for
// the two highest or the two lowest of p laboratories; the statistic is an
// outlier when SMALLER. There is no closed form: the values are those tabulated
// for 4 to 40 laboratories, ok is false elsewhere, and nothing is extrapolated.
func GrubbsPairCritical(p int) (at1, at5 float64, ok bool) {
	i := p - grubbsPairFirst
	if i < 0 || i >= len(grubbsPair) {
		return 0, 0, false
	}
	return grubbsPair[i][0], grubbsPair[i][1], true
}

const grubbsPairFirst = 4

// grubbsPair: ISO 5725-2:1994, table 5, two largest or two smallest, 1 % and
// 5 % (two-sided: 0.5 % and 2.5 % at each end); not confirmed against print,
// and checked by simulation in the tests.
var grubbsPair = [...][2]float64{
	{0.0000, 0.0002}, {0.0018, 0.0090}, {0.0116, 0.0349}, {0.0308, 0.0708}, {0.0563, 0.1101},
	{0.0851, 0.1492}, {0.1150, 0.1864}, {0.1448, 0.2213}, {0.1738, 0.2537}, {0.2016, 0.2836},
	{0.2280, 0.3112}, {0.2530, 0.3367}, {0.2767, 0.3603}, {0.2990, 0.3822}, {0.3200, 0.4025},
	{0.3398, 0.4214}, {0.3585, 0.4391}, {0.3761, 0.4556}, {0.3927, 0.4711}, {0.4085, 0.4857},
	{0.4234, 0.4994}, {0.4376, 0.5123}, {0.4510, 0.5245}, {0.4638, 0.5360}, {0.4759, 0.5470},
	{0.4875, 0.5574}, {0.4985, 0.5672}, {0.5091, 0.5766}, {0.5192, 0.5856}, {0.5288, 0.5941},
	{0.5381, 0.6023}, {0.5469, 0.6101}, {0.5554, 0.6175}, {0.5636, 0.6247}, {0.5714, 0.6316},
	{0.5789, 0.6382}, {0.5862, 0.6445},
}

func studentT(prob float64, df int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(df)}.Quantile(prob)
}

func wantLevel(alpha float64) {
	if !(alpha > 0 && alpha < 1) {
		panic("interlab: a level is between 0 and 1")
	}
}

package compare

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// BootstrapOptions says how to draw. The zero value takes 10 000 resamples,
// level 0.95 and seed 0; the same options and values give the same interval.
type BootstrapOptions struct {
	Resamples int
	Level     float64
	Seed      uint64
}

// BootstrapInterval is a statistic with two intervals from resampling (Efron
// and Tibshirani, An Introduction to the Bootstrap, 1993, chapters 13 and 14).
// Both are rough below about ten values in a sample.
type BootstrapInterval struct {
	Estimate                      float64
	PercentileLow, PercentileHigh float64
	// BCaLow and BCaHigh are corrected for bias and skew. BCaFails: too many
	// resamples lie on one side of the estimate, or the statistic does not
	// change when single values are left out; the two are then those of the
	// percentile interval.
	BCaLow, BCaHigh float64
	BCaFails        bool
	Bias            float64 // z0, in standard deviations of a normal variable
	Acceleration    float64
	Options         BootstrapOptions // with the defaults filled in
}

// Bootstrap finds intervals of a statistic of one sample. The statistic must
// not keep or change its argument. Fewer than two values, or one that is not
// finite, is a *fault.Error. It panics on options that make no sense.
func Bootstrap(s Sample, statistic func([]float64) float64, o BootstrapOptions) (BootstrapInterval, error) {
	return bootstrap([]Sample{s}, func(v [][]float64) float64 { return statistic(v[0]) }, o)
}

// BootstrapDifference finds intervals of statistic(a) - statistic(b), each
// sample drawn anew within itself; see Bootstrap.
func BootstrapDifference(a, b Sample, statistic func([]float64) float64, o BootstrapOptions) (BootstrapInterval, error) {
	return bootstrap([]Sample{a, b}, func(v [][]float64) float64 { return statistic(v[0]) - statistic(v[1]) }, o)
}

func bootstrap(samples []Sample, statistic func([][]float64) float64, o BootstrapOptions) (BootstrapInterval, error) {
	if o.Resamples == 0 {
		o.Resamples = 10000
	}
	if o.Level == 0 {
		o.Level = 0.95
	}
	wantLevel(o.Level)
	if o.Resamples < 100 {
		panic("compare: a bootstrap takes 100 resamples at least")
	}
	values := make([][]float64, len(samples))
	drawn := make([][]float64, len(samples))
	for i, s := range samples {
		if _, err := Summarise(s); err != nil {
			return BootstrapInterval{}, err
		}
		values[i] = slices.Clone(s.Values)
		drawn[i] = make([]float64, len(s.Values))
	}
	b := BootstrapInterval{Estimate: statistic(values), Options: o}
	rng := rand.New(rand.NewPCG(o.Seed, 0x9e3779b97f4a7c15))
	replicates := make([]float64, o.Resamples)
	below, equal := 0, 0
	for r := range replicates {
		for i, v := range values {
			for k := range v {
				drawn[i][k] = v[rng.IntN(len(v))]
			}
		}
		replicates[r] = statistic(drawn)
		switch {
		case replicates[r] < b.Estimate:
			below++
		case replicates[r] == b.Estimate:
			equal++
		}
	}
	slices.Sort(replicates)
	tail := (1 - o.Level) / 2
	b.PercentileLow, b.PercentileHigh = quantile(replicates, tail), quantile(replicates, 1-tail)
	b.BCaLow, b.BCaHigh = b.PercentileLow, b.PercentileHigh

	share := (float64(below) + float64(equal)/2) / float64(o.Resamples)
	b.Bias = distuv.UnitNormal.Quantile(share)
	b.Acceleration = acceleration(values, statistic)
	low, okLow := b.corrected(tail)
	high, okHigh := b.corrected(1 - tail)
	if !okLow || !okHigh {
		b.Bias, b.Acceleration, b.BCaFails = 0, 0, true
		return b, nil
	}
	b.BCaLow, b.BCaHigh = quantile(replicates, low), quantile(replicates, high)
	return b, nil
}

// corrected is the probability whose quantile takes the place of that of p.
func (b BootstrapInterval) corrected(p float64) (float64, bool) {
	z := b.Bias + distuv.UnitNormal.Quantile(p)
	shrink := 1 - b.Acceleration*z
	return distuv.UnitNormal.CDF(b.Bias + z/shrink), shrink > 0 && !math.IsInf(z, 0)
}

// acceleration from leaving each value out once; with several samples the
// influences are scaled by the size of their sample.
func acceleration(values [][]float64, statistic func([][]float64) float64) float64 {
	var cubes, squares float64
	args := slices.Clone(values)
	for i, v := range values {
		n := float64(len(v))
		if len(v) < 3 {
			return math.NaN() // nothing to take a standard deviation from once one is left out
		}
		left := make([]float64, len(v)-1)
		out := make([]float64, len(v))
		mean := 0.0
		args[i] = left
		for k := range v {
			copy(left, v[:k])
			copy(left[k:], v[k+1:])
			out[k] = statistic(args)
			mean += out[k] / n
		}
		args[i] = v
		for _, t := range out {
			u := (n - 1) * (mean - t) / n
			squares += u * u
			cubes += u * u * u
		}
	}
	return cubes / (6 * math.Pow(squares, 1.5))
}

// quantile of sorted values, interpolated linearly (type 7 of Hyndman and Fan,
// Am. Statist. 50 (1996) 361-365).
func quantile(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := min(max(int(at), 0), len(sorted)-1)
	j := min(i+1, len(sorted)-1)
	return sorted[i] + (at-float64(i))*(sorted[j]-sorted[i])
}

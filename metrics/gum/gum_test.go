package gum_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"thudbook/metrics/gum"
	"thudbook/metrics/impact"
	"thudbook/metrics/unit"
)

const rate = 20000

// pulse is an oblique pulse whose axes have different shapes.
func pulse() (axes [][]float64) {
	const n = 600
	axes = [][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}
	for i := 100; i < 320; i++ {
		x := float64(i-100) / 220
		axes[0][i] = 80 * math.Sin(math.Pi*x)
		axes[1][i] = -45 * math.Sin(math.Pi*math.Sqrt(x))
		axes[2][i] = 25 * math.Sin(2*math.Pi*x)
	}
	return axes
}

// metrics straight from package impact.
type metrics struct{ peak, si, hic, clip, dv float64 }

func compute(axes [][]float64, rateHz float64) (m metrics) {
	r := impact.Magnitude(nil, axes...)
	t := impact.Trace{RateHz: rateHz, Values: r}
	p, _ := impact.FindPulse(t, 4)
	m.peak, _ = impact.Peak(r)
	m.si = impact.SeverityIndex(t, p.First, p.Last)
	m.hic = impact.NewCumulative(t, nil).FindHIC(impact.HIC15WindowS, impact.HIC{}).Value
	m.clip = impact.FindClip(t, impact.Clip3MSDurationS).Value
	m.dv, _, _ = impact.VelocityChange(t, axes, p.First, p.Last)
	return m
}

// truth is what Monte Carlo draws: standard deviations as Inputs has them, but the
// cross-axis shares and the time base as half widths of rectangular distributions.
type truth struct {
	sensitivity   [3]float64
	cross         float64
	offset, noise float64
	clock         float64
}

func (d truth) inputs() gum.Inputs {
	in := gum.Inputs{Sensitivity: d.sensitivity, TimeBase: gum.Rectangular(d.clock)}
	for k := range 3 {
		in.CrossAxis[k], in.Offset[k] = gum.Rectangular(d.cross), d.offset
		in.Noise[k], in.White[k] = d.noise, d.noise
	}
	return in
}

// draw is the pulse as one set of imperfect sensors records it.
func (d truth) draw(axes [][]float64, r *rand.Rand) (seen [][]float64, rateHz float64) {
	uniform := func(half float64) float64 { return half * (2*r.Float64() - 1) }
	seen = make([][]float64, 3)
	for k := range seen {
		var share [3]float64
		for j := range share {
			share[j] = uniform(d.cross)
		}
		share[k] = 1 + d.sensitivity[k]*r.NormFloat64()
		offset := d.offset * r.NormFloat64()
		seen[k] = make([]float64, len(axes[k]))
		for i := range seen[k] {
			seen[k][i] = share[0]*axes[0][i] + share[1]*axes[1][i] + share[2]*axes[2][i] + offset
			if d.noise > 0 {
				seen[k][i] += d.noise * r.NormFloat64()
			}
		}
	}
	return seen, rate / (1 + uniform(d.clock))
}

// budgets are the uncertainties by propagation.
func budgets(axes [][]float64, in gum.Inputs) map[string]gum.Budget {
	r := impact.Magnitude(nil, axes...)
	tr := impact.Trace{RateHz: rate, Values: r}
	v := gum.Vector{Axes: axes, Magnitude: r, RateHz: rate}
	p, _ := impact.FindPulse(tr, 4)
	_, peakAt := impact.Peak(r)
	h := impact.NewCumulative(tr, nil).FindHIC(impact.HIC15WindowS, impact.HIC{})
	c := impact.FindClip(tr, impact.Clip3MSDurationS)
	_, dvAt, change := impact.VelocityChange(tr, axes, p.First, p.Last)
	place := func(i int, s float64) gum.Point { return gum.Point{Sample: i, Fraction: s*rate - float64(i)} }
	return map[string]gum.Budget{
		"peak":            v.Sample(peakAt).Budget(in),
		"severity index":  v.SeverityIndex(p.First, p.Last).Budget(in),
		"HIC15":           v.HIC(h.First, h.Last).Budget(in),
		"3 ms clip":       v.Held(place(c.First, c.FromS), place(c.After, c.ToS)).Budget(in),
		"velocity change": v.Integral(change, p.First, dvAt, unit.G0).Budget(in),
	}
}

// Tolerances of the comparison with Monte Carlo: of the standard uncertainty, and of
// the ends of the 95 % interval in parts of its half width. 3000 draws give the
// standard deviation to about 1.3 % and the ends to about 3 % (one standard error).
const (
	toleranceU    = 0.06
	toleranceEnds = 0.12
)

// Monte Carlo after JCGM 101:2008: draw the inputs, compute every metric anew, and
// compare as clause 8 says. The sources one by one, then together. A velocity change
// of a vector that has other axes is bent by noise in second order only.
func TestPropagationAgreesWithMonteCarlo(t *testing.T) {
	axes := pulse()
	for name, d := range map[string]truth{
		"sensitivity": {sensitivity: [3]float64{0.010, 0.015, 0.020}},
		"cross axis":  {cross: 0.03},
		"offset":      {offset: 0.3},
		"time base":   {clock: 0.01},
		"noise":       {noise: 0.3},
		"all":         {sensitivity: [3]float64{0.010, 0.008, 0.012}, cross: 0.03, offset: 0.05, clock: 100e-6, noise: 0.1},
	} {
		t.Run(name, func(t *testing.T) {
			const draws = 3000
			random := rand.New(rand.NewPCG(20, 26))
			samples := map[string][]float64{}
			for range draws {
				m := compute(d.draw(axes, random))
				for name, v := range map[string]float64{"peak": m.peak, "severity index": m.si, "HIC15": m.hic, "3 ms clip": m.clip, "velocity change": m.dv} {
					samples[name] = append(samples[name], v)
				}
			}
			value := compute(axes, rate)
			want := map[string]float64{"peak": value.peak, "severity index": value.si, "HIC15": value.hic, "3 ms clip": value.clip, "velocity change": value.dv}
			for metric, b := range budgets(axes, d.inputs()) {
				if name == "noise" && (metric == "peak" || metric == "3 ms clip") {
					continue // the largest of noisy samples is no smooth function of them
				}
				factor := 1.96 // 95 % of a normal distribution
				if name == "time base" {
					factor = 0.95 * math.Sqrt(3) // of a rectangular one
				}
				agree(t, metric, want[metric], b.Expanded()/gum.CoverageFactor, factor, samples[metric])
			}
		})
	}
}

// agree compares propagation with drawn values.
func agree(t *testing.T, metric string, value, u, factor float64, drawn []float64) {
	t.Helper()
	slices.Sort(drawn)
	n := float64(len(drawn))
	mean, square := 0.0, 0.0
	for _, x := range drawn {
		mean += x / n
	}
	for _, x := range drawn {
		square += (x - mean) * (x - mean) / (n - 1)
	}
	want := math.Sqrt(square)
	if want < 1e-6*value { // as the clock for a peak
		if u > 1e-6*value {
			t.Errorf("%s: propagated %g, Monte Carlo %g", metric, u, want)
		}
		return
	}
	if math.Abs(u-want) > toleranceU*want {
		t.Errorf("%s %.4g: standard uncertainty %.4g propagated, %.4g by Monte Carlo", metric, value, u, want)
	}
	half := factor * u
	low, high := drawn[int(0.025*n)], drawn[int(0.975*n)]
	if math.Abs(value-half-low) > toleranceEnds*half || math.Abs(value+half-high) > toleranceEnds*half {
		t.Errorf("%s: 95 %% between %.5g and %.5g propagated, %.5g and %.5g by Monte Carlo", metric, value-half, value+half, low, high)
	}
}

// Noise alone moves the peak and the clip by less than one sample's noise, since the
// largest of several is taken.
func TestNoiseOfAPeakIsBounded(t *testing.T) {
	axes := pulse()
	d := truth{noise: 0.3}
	random := rand.New(rand.NewPCG(1, 1))
	var peaks []float64
	for range 2000 {
		peaks = append(peaks, compute(d.draw(axes, random)).peak)
	}
	slices.Sort(peaks)
	spread := peaks[int(0.975*2000)] - peaks[int(0.025*2000)]
	if u := budgets(axes, d.inputs())["peak"].Expanded(); u < spread/2 || u > 3*spread {
		t.Errorf("expanded uncertainty %g, 95 %% of the draws lie within ±%g", u, spread/2)
	}
}

// One axis: relative uncertainties follow the powers, 1 and 2.5, exactly; the time
// base works with power 1 on integrals and 0 on peaks.
func TestOneAxisPowers(t *testing.T) {
	x := pulse()[:1]
	r := impact.Magnitude(nil, x...)
	tr := impact.Trace{RateHz: rate, Values: r}
	h := impact.NewCumulative(tr, nil).FindHIC(impact.HIC36WindowS, impact.HIC{})
	peak, i := impact.Peak(r)
	last := len(r) - 1
	si := impact.SeverityIndex(tr, 0, last)
	times := make([]float64, len(r))
	for k := range times {
		times[k] = float64(k) / rate
	}
	for _, v := range []gum.Vector{{Axes: x, Magnitude: r, RateHz: rate}, {Axes: x, Magnitude: r, TimeS: times}} {
		for _, tc := range []struct {
			name              string
			e                 gum.Effect
			value, power, dot float64
		}{
			{"peak", v.Sample(i), peak, 1, 0},
			{"severity index", v.SeverityIndex(0, last), si, 2.5, 1},
			{"HIC", v.HIC(h.First, h.Last), h.Value, 2.5, 1},
		} {
			got := tc.e.Budget(gum.Inputs{Sensitivity: [3]float64{0.01}}).Expanded()
			if want := 2 * tc.power * 0.01 * tc.value; math.Abs(got-want) > 1e-9*want {
				t.Errorf("%s: %g for a sensitivity known to 1 %%, want %g", tc.name, got, want)
			}
			got = tc.e.Budget(gum.Inputs{TimeBase: 0.01}).Expanded()
			if want := 2 * tc.dot * 0.01 * tc.value; math.Abs(got-want) > 1e-9*tc.value {
				t.Errorf("%s: %g for times known to 1 %%, want %g", tc.name, got, want)
			}
		}
	}
}

// What nobody stated stands in the budget and is not in the sum.
func TestUnknownIsNamed(t *testing.T) {
	axes := pulse()
	b := budgets(axes, gum.Inputs{Sensitivity: [3]float64{0.01, 0.01, 0.01}, CrossUnknown: [3]bool{true, false, true}})["peak"]
	var unknown []int
	for _, c := range b {
		if c.Unknown {
			unknown = append(unknown, c.Component)
			if c.Source != gum.CrossAxis || c.Standard != 0 {
				t.Errorf("%+v", c)
			}
		}
	}
	if !slices.Equal(unknown, []int{0, 2}) {
		t.Errorf("components %v are named as unknown, want 0 and 2", unknown)
	}
	// the sensitivities alone: √(Σ (a²/r)²)·0.01·2 with each axis' share of the peak
	all := budgets(axes, gum.Inputs{Sensitivity: [3]float64{0.01, 0.01, 0.01}})["peak"]
	if b.Expanded() != all.Expanded() {
		t.Errorf("%g with, %g without the unknown", b.Expanded(), all.Expanded())
	}
}

// Root of the sum of squares: 3, 4 and 12 give 13.
func TestCombine(t *testing.T) {
	if got := gum.Combine(3, -4, 12); got != 13 {
		t.Errorf("Combine = %g, want 13", got)
	}
	if got := gum.Expanded(3, 4); got != 10 {
		t.Errorf("Expanded = %g, want 10", got)
	}
	b := gum.Budget{{Standard: 3}, {Standard: 4}}
	if b.Expanded() != 10 || b.Scaled(-2).Expanded() != 20 {
		t.Errorf("budget of 3 and 4: %g, times −2 %g", b.Expanded(), b.Scaled(-2).Expanded())
	}
}

// Nothing moves: no uncertainty and no division by zero.
func TestSilence(t *testing.T) {
	zero := make([]float64, 10)
	v := gum.Vector{Axes: [][]float64{zero, zero, zero}, Magnitude: zero, RateHz: rate}
	in := gum.Inputs{Sensitivity: [3]float64{1, 1, 1}, CrossAxis: [3]float64{1, 1, 1}, Offset: [3]float64{1, 1, 1}, Noise: [3]float64{1, 1, 1}, White: [3]float64{1, 1, 1}, TimeBase: 1}
	for name, e := range map[string]gum.Effect{
		"sample": v.Sample(3), "si": v.SeverityIndex(0, 9), "hic": v.HIC(0, 9), "same": v.HIC(3, 3), "backwards": v.SeverityIndex(5, 4),
		"held": v.Held(gum.Point{Sample: 1}, gum.Point{Sample: 9}), "integral": v.Integral([3]float64{}, 0, 9, 1),
	} {
		if u := e.Budget(in).Expanded(); u != 0 {
			t.Errorf("%s: %g, want 0", name, u)
		}
	}
}

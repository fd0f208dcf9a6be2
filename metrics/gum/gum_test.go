package gum_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"thudbook/metrics/gum"
	"thudbook/metrics/impact"
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

func at(i int) float64 { return float64(i) / rate }

// metrics of scaled axes, straight from package impact.
type metrics struct{ peak, si, hic, clip, dv float64 }

func compute(axes [][]float64, factor [3]float64) (m metrics, r []float64) {
	scaled := make([][]float64, 3)
	for k := range scaled {
		scaled[k] = make([]float64, len(axes[k]))
		for i, v := range axes[k] {
			scaled[k][i] = factor[k] * v
		}
	}
	r = impact.Magnitude(nil, scaled...)
	t := impact.Trace{RateHz: rate, Values: r}
	p, _ := impact.FindPulse(t, 4)
	m.peak, _ = impact.Peak(r)
	m.si = impact.SeverityIndex(t, p.First, p.Last)
	m.hic = impact.NewCumulative(t, nil).FindHIC(impact.HIC15WindowS, impact.HIC{}).Value
	m.clip = impact.FindClip(t, impact.Clip3MSDurationS).Value
	m.dv, _, _ = impact.VelocityChange(t, scaled, p.First, p.Last)
	return m, r
}

// Monte Carlo after JCGM 101:2008: draw the three sensitivities, compute every
// metric anew, compare the standard deviations with the first-order propagation.
func TestPropagationAgreesWithMonteCarlo(t *testing.T) {
	axes := pulse()
	relative := []float64{0.010, 0.015, 0.020}
	one := [3]float64{1, 1, 1}
	m, r := compute(axes, one)
	tr := impact.Trace{RateHz: rate, Values: r}
	v := gum.Vector{Axes: axes, Magnitude: r, Relative: relative}
	p, ok := impact.FindPulse(tr, 4)
	if !ok {
		t.Fatal("no pulse")
	}
	_, peakAt := impact.Peak(r)
	h := impact.NewCumulative(tr, nil).FindHIC(impact.HIC15WindowS, impact.HIC{})
	c := impact.FindClip(tr, impact.Clip3MSDurationS)
	_, _, parts := impact.VelocityChange(tr, axes, p.First, p.Last)
	place := func(i int, s float64) gum.Point { return gum.Point{Sample: i, Fraction: s*rate - float64(i)} }

	const draws = 4000
	random := rand.New(rand.NewPCG(20, 26))
	samples := make([]metrics, draws)
	for i := range samples {
		var f [3]float64
		for k := range f {
			f[k] = 1 + relative[k]*random.NormFloat64()
		}
		samples[i], _ = compute(axes, f)
	}
	for _, tc := range []struct {
		name        string
		value       float64
		propagated  float64
		of          func(metrics) float64
		sigmaFactor float64
	}{
		{"peak", m.peak, v.Sample(peakAt), func(m metrics) float64 { return m.peak }, 1},
		{"severity index", m.si, v.SeverityIndex(p.First, p.Last, at), func(m metrics) float64 { return m.si }, 2.5},
		{"HIC15", m.hic, v.HIC(h.First, h.Last, at), func(m metrics) float64 { return m.hic }, 2.5},
		{"3 ms clip", m.clip, v.Held(place(c.First, c.FromS), place(c.After, c.ToS)), func(m metrics) float64 { return m.clip }, 1},
		{"velocity change", m.dv, v.Components(parts[:]), func(m metrics) float64 { return m.dv }, 1},
	} {
		var mean, square float64
		for _, s := range samples {
			mean += tc.of(s) / draws
		}
		for _, s := range samples {
			square += math.Pow(tc.of(s)-mean, 2) / (draws - 1)
		}
		want := 2 * math.Sqrt(square)
		// the standard deviation of 4000 draws is itself known to about 1.1 %
		if math.Abs(tc.propagated-want) > 0.05*want {
			t.Errorf("%s %.4g: propagated %.5g, Monte Carlo %.5g (k = 2)", tc.name, tc.value, tc.propagated, want)
		}
		if least := tc.sigmaFactor * 2 * 0.010 / math.Sqrt(3) * tc.value; tc.propagated < least {
			t.Errorf("%s: %.4g is below what the best of the axes alone allows, %.4g", tc.name, tc.propagated, least)
		}
	}
}

// One axis: relative uncertainties follow the powers, 1 and 2.5, exactly.
func TestOneAxisPowers(t *testing.T) {
	x := pulse()[:1]
	r := impact.Magnitude(nil, x...)
	v := gum.Vector{Axes: x, Magnitude: r, Relative: []float64{0.01}}
	tr := impact.Trace{RateHz: rate, Values: r}
	peak, i := impact.Peak(r)
	if got, want := v.Sample(i), 2*0.01*peak; math.Abs(got-want) > 1e-12*want {
		t.Errorf("peak: %g, want %g (2 %% of the value)", got, want)
	}
	last := len(r) - 1
	if got, want := v.SeverityIndex(0, last, at), 2*2.5*0.01*impact.SeverityIndex(tr, 0, last); math.Abs(got-want) > 1e-9*want {
		t.Errorf("severity index: %g, want %g (5 %% of the value)", got, want)
	}
	h := impact.NewCumulative(tr, nil).FindHIC(impact.HIC36WindowS, impact.HIC{})
	if got, want := v.HIC(h.First, h.Last, at), 2*2.5*0.01*h.Value; math.Abs(got-want) > 1e-9*want {
		t.Errorf("HIC: %g, want %g (5 %% of the value)", got, want)
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
}

// Nothing moves: no uncertainty and no division by zero.
func TestSilence(t *testing.T) {
	zero := make([]float64, 10)
	v := gum.Vector{Axes: [][]float64{zero, zero, zero}, Magnitude: zero, Relative: []float64{0.1, 0.1, 0.1}}
	for name, u := range map[string]float64{
		"sample": v.Sample(3), "si": v.SeverityIndex(0, 9, at), "hic": v.HIC(0, 9, at), "same": v.HIC(3, 3, at),
		"held": v.Held(gum.Point{Sample: 1}, gum.Point{Sample: 9}), "components": v.Components([]float64{0, 0, 0}),
	} {
		if u != 0 {
			t.Errorf("%s: %g, want 0", name, u)
		}
	}
}

package compare_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/compare"
	"thudbook/metrics/fault"
)

var (
	// Extra hours of sleep with two drugs, Student, Biometrika 6 (1908) 1-25;
	// the data set `sleep` of R.
	sleep1 = []float64{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0}
	sleep2 = []float64{1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4}
	// Efron and Tibshirani, An Introduction to the Bootstrap, 1993, table 14.1,
	// test A; not confirmed against print.
	spatial = []float64{48, 36, 20, 29, 42, 42, 20, 42, 22, 41, 45, 14, 6, 0, 33, 28, 34, 4, 32, 24, 47, 41, 24, 26, 30, 41}
)

func meanOf(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

func sumSquares(v []float64) float64 {
	m, ss := meanOf(v), 0.0
	for _, x := range v {
		ss += (x - m) * (x - m)
	}
	return ss
}

func sd(v []float64) float64 { return math.Sqrt(sumSquares(v) / float64(len(v)-1)) }

func TestWelchOfStudentsSleepData(t *testing.T) {
	const src = "R, t.test(extra ~ group, data = sleep), as its help is commonly printed; not confirmed here"
	c, err := compare.Welch(compare.Sample{Name: "1", Values: sleep1}, compare.Sample{Name: "2", Values: sleep2}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "t", c.T, -1.8608, 5e-5, src)
	near(t, "df", c.DF, 17.776, 5e-4, src)
	near(t, "p", c.P, 0.07939, 5e-6, src)
	near(t, "low", c.Low, -3.3654832, 5e-8, src)
	near(t, "high", c.High, 0.2054832, 5e-8, src)
	near(t, "mean 1", c.A.Mean, 0.75, 1e-12, src)
	near(t, "mean 2", c.B.Mean, 2.33, 1e-12, src)
	if c.AdjustedP != c.P || c.A.N != 10 || c.Level != 0.95 {
		t.Errorf("adjusted p %g, n %d, level %g: want those of one comparison", c.AdjustedP, c.A.N, c.Level)
	}
	e, err := compare.Welch(compare.Sample{Values: sleep1[:6]}, compare.Sample{Values: sleep2[:6]}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "factor of Hedges g", e.Effect.Factor, 24/(math.Sqrt(5)*105.0/16*math.Sqrt(math.Pi)), 1e-12,
		"Hedges 1981 for 10 degrees of freedom: Γ(5)/(√5 Γ(4.5)), closed form")
}

// An effect far beyond what series for the noncentral t distribution reach
// stays finite, and its interval is that of the spread's own uncertainty:
// for a huge effect, d/delta is √(df/χ²).
func TestHugeEffect(t *testing.T) {
	c, err := compare.Welch(compare.Sample{Values: []float64{1e7 + 1, 1e7 + 2, 1e7 + 3}}, compare.Sample{Values: []float64{1, 2, 3}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	const src = "χ² of 4 degrees of freedom: 0.484418557 and 11.14328678 at 2.5 % and 97.5 %, any table"
	near(t, "g", c.Effect.G/c.Effect.Factor, 1e7, 1e-2, "by hand: 1e7 over a pooled 1")
	near(t, "low", c.Effect.Low/1e7, math.Sqrt(0.484418557/4), 1e-6, src)
	near(t, "high", c.Effect.High/1e7, math.Sqrt(11.14328678/4), 1e-6, src)
}

func TestBinomialOfConover(t *testing.T) {
	const src = "R, binom.test(682, 925, p = 0.75), Mendel's peas after Conover 1971; not confirmed here"
	p, err := compare.BinomialTest(682, 925, 0.75)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "p", p, 0.3825, 5e-5, src)
	ci, err := compare.NewProportion(682, 925, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "low", ci.Low, 0.7076683, 5e-8, src)
	near(t, "high", ci.High, 0.7654066, 5e-8, src)
	// None of n: the upper end is 1 - (α/2)^(1/n).
	none, err := compare.NewProportion(0, 10, 0.95)
	if err != nil || none.Low != 0 {
		t.Errorf("none of ten: %+v, %v", none, err)
	}
	near(t, "none of ten, high", none.High, 1-math.Pow(0.025, 0.1), 1e-12, "closed form")
	all, err := compare.NewProportion(10, 10, 0.95)
	if err != nil || all.High != 1 {
		t.Errorf("all of ten: %+v, %v", all, err)
	}
	near(t, "all of ten, low", all.Low, math.Pow(0.025, 0.1), 1e-12, "closed form")
	for _, tc := range []struct {
		x     int
		share float64
		want  float64
	}{{0, 0, 1}, {1, 0, 0}, {4, 1, 1}, {3, 1, 0}, {2, 0.5, 1}} {
		if p, err := compare.BinomialTest(tc.x, 4, tc.share); err != nil || p != tc.want {
			t.Errorf("%d of 4 at %g: p %g, %v; want %g", tc.x, tc.share, p, err, tc.want)
		}
	}
}

// The exact test against its definition, summed over all counts.
func TestBinomialTestByDefinition(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(r, "trials")
		x := rapid.IntRange(0, n).Draw(r, "successes")
		share := float64(rapid.IntRange(1, 99).Draw(r, "percent")) / 100
		prob := make([]float64, n+1)
		prob[0] = math.Pow(1-share, float64(n))
		for k := 1; k <= n; k++ {
			prob[k] = prob[k-1] * float64(n-k+1) / float64(k) * share / (1 - share)
		}
		want := 0.0
		for _, p := range prob {
			if p <= prob[x]*(1+1e-7) {
				want += p
			}
		}
		got, err := compare.BinomialTest(x, n, share)
		if err != nil || math.Abs(got-want) > 1e-9 {
			r.Errorf("%d of %d at %g: %.12g, %v; want %.12g", x, n, share, got, err, want)
		}
	})
}

// Holm's correction is the closed test with Bonferroni's: the corrected value
// is the largest m·min(p) over all sets of m that hold the one in question.
func TestHolmIsTheClosedTest(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 8).Draw(r, "p")
		got := compare.Holm(p)
		for i := range p {
			want := 0.0
			for set := range 1 << len(p) {
				if set&(1<<i) == 0 {
					continue
				}
				m, least := 0.0, 1.0
				for k, v := range p {
					if set&(1<<k) != 0 {
						m++
						least = min(least, v)
					}
				}
				want = max(want, min(1, m*least))
			}
			if math.Abs(got[i]-want) > 1e-12 {
				r.Errorf("p %v: corrected %v, at %d want %g", p, got, i, want)
			}
		}
	})
}

func TestPairsAndAgainst(t *testing.T) {
	s := []compare.Sample{
		{Name: "north", Values: []float64{100, 102, 98, 101}},
		{Name: "south", Values: []float64{110, 112, 108, 113}},
		{Name: "west", Values: []float64{101, 99, 100, 104}},
	}
	pairs, err := compare.Pairs(s, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	p := make([]float64, len(pairs))
	names := ""
	for i, c := range pairs {
		p[i] = c.P
		names += c.A.Name + "-" + c.B.Name + " "
	}
	if names != "north-south north-west south-west " {
		t.Errorf("pairs %q", names)
	}
	for i, want := range compare.Holm(p) {
		if pairs[i].AdjustedP != want || pairs[i].AdjustedP < pairs[i].P {
			t.Errorf("pair %d: corrected %g from %g, want %g", i+1, pairs[i].AdjustedP, pairs[i].P, want)
		}
	}
	against, err := compare.Against(s[0], s[1:], 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if len(against) != 2 || against[0].Difference != pairs[0].B.Mean-pairs[0].A.Mean || against[0].P != pairs[0].P {
		t.Errorf("against the reference: %+v, want south less north with the same p", against)
	}
	if against[0].AdjustedP != 2*against[0].P {
		t.Errorf("smallest of two: corrected %g from %g, want twice that (Holm)", against[0].AdjustedP, against[0].P)
	}
}

func TestFaultsNameTheSample(t *testing.T) {
	good := compare.Sample{Name: "good", Values: []float64{1, 2, 3}}
	flat := compare.Sample{Name: "flat", Values: []float64{2, 2}}
	for _, tc := range []struct {
		name string
		do   func() error
		code fault.Code
		word string
	}{
		{"one value", func() error {
			_, err := compare.Welch(good, compare.Sample{Name: "lonely", Values: []float64{1}}, 0.95)
			return err
		}, compare.TooFewValues, `"lonely" has 1 values`},
		{"empty", func() error {
			_, err := compare.Bootstrap(compare.Sample{Name: "none"}, sd, compare.BootstrapOptions{})
			return err
		},
			compare.TooFewValues, `"none" has 0 values`},
		{"not a number", func() error {
			_, err := compare.Welch(compare.Sample{Name: "odd", Values: []float64{1, math.NaN()}}, good, 0.95)
			return err
		}, compare.BadValue, `"odd", value 2`},
		{"no scatter", func() error { _, err := compare.Welch(flat, flat, 0.95); return err }, compare.NoScatter, `"flat"`},
		{"one sample", func() error { _, err := compare.Pairs([]compare.Sample{good}, 0.95); return err }, compare.TooFewValues, "1 samples"},
		{"nothing against", func() error { _, err := compare.Against(good, nil, 0.95); return err }, compare.TooFewValues, "1 samples"},
		{"no trials", func() error { _, err := compare.NewProportion(0, 0, 0.95); return err }, compare.BadCount, "0 of 0"},
		{"more than all", func() error { _, err := compare.BinomialTest(3, 2, 0.5); return err }, compare.BadCount, "3 of 2"},
	} {
		err := tc.do()
		f, ok := fault.As(err)
		if !ok || f.Code != tc.code || f.Fix == "" || !strings.Contains(f.What, tc.word) {
			t.Errorf("%s: error %v, want %s that says %q", tc.name, err, tc.code, tc.word)
		}
	}
}

package compare_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os/exec"
	"testing"

	"thudbook/metrics/compare"
)

func near(t *testing.T, what string, got, want, tol float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g within %g (%s)", what, got, want, tol, source)
	}
}

type welchCase struct {
	A     []float64 `json:"a"`
	B     []float64 `json:"b"`
	Level float64   `json:"level"`
}

// Everything scipy can compute apart from this code: testdata/stat/compare.py.
// Bootstrap intervals are drawn, so they are compared within five standard
// errors of the draw, as scipy's own ten seeds show it.
func TestAgainstScipy(t *testing.T) {
	cases := struct {
		Welch     []welchCase   `json:"welch"`
		Binomial  [][4]float64  `json:"binomial"`
		Bootstrap [][][]float64 `json:"bootstrap"`
	}{
		Welch: []welchCase{
			{sleep1, sleep2, 0.95},
			{[]float64{91.2, 88.4}, []float64{97.1, 103.5, 99.9}, 0.9},
			{[]float64{100.1, 100.2, 100.15, 100.12}, []float64{101.9, 102.1, 102, 102.3, 101.8}, 0.99}, // g of about -10
			{[]float64{5, 5, 5}, []float64{4, 6, 5, 7, 3, 5.5}, 0.95},
			{[]float64{1e6 + 1, 1e6 + 2, 1e6 + 3}, []float64{1e6 + 1.5, 1e6 + 2.5}, 0.95},
		},
		Bootstrap: [][][]float64{{spatial}, {sleep1, sleep2}},
	}
	for _, x := range []float64{0, 1, 2, 3, 7, 11, 12} {
		for _, share := range []float64{0.05, 0.25, 0.5, 0.9} {
			cases.Binomial = append(cases.Binomial, [4]float64{x, 12, share, 0.95})
		}
	}
	cases.Binomial = append(cases.Binomial, [4]float64{682, 925, 0.75, 0.95}, [4]float64{30, 100000, 0.0005, 0.99}, [4]float64{0, 1, 0.3, 0.9})
	var want struct {
		Welch []struct {
			T, P, DF, Low, High, G float64
			GLow                   float64 `json:"g_low"`
			GHigh                  float64 `json:"g_high"`
		}
		Binomial  []struct{ P, Low, High float64 }
		Bootstrap []map[string]struct{ Mean, SD [2]float64 }
	}
	run(t, cases, &want)
	const src = "scipy, testdata/stat/compare.py"
	for i, c := range cases.Welch {
		got, err := compare.Welch(compare.Sample{Name: "a", Values: c.A}, compare.Sample{Name: "b", Values: c.B}, c.Level)
		if err != nil {
			t.Fatal(err)
		}
		w := want.Welch[i]
		for _, q := range []struct {
			name      string
			got, want float64
		}{
			{"t", got.T, w.T}, {"df", got.DF, w.DF}, {"p", got.P, w.P}, {"low", got.Low, w.Low}, {"high", got.High, w.High},
			{"g", got.Effect.G, w.G}, {"g low", got.Effect.Low, w.GLow}, {"g high", got.Effect.High, w.GHigh},
		} {
			near(t, fmt.Sprintf("case %d, %s", i+1, q.name), q.got, q.want, 1e-8*(1+math.Abs(q.want)), src)
		}
	}
	for i, c := range cases.Binomial {
		x, n := int(c[0]), int(c[1])
		p, err := compare.BinomialTest(x, n, c[2])
		if err != nil {
			t.Fatal(err)
		}
		ci, err := compare.NewProportion(x, n, c[3])
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("p of %v", c), p, want.Binomial[i].P, 1e-9, src)
		near(t, fmt.Sprintf("low of %v", c), ci.Low, want.Binomial[i].Low, 1e-9, src)
		near(t, fmt.Sprintf("high of %v", c), ci.High, want.Binomial[i].High, 1e-9, src)
	}
	for i, samples := range cases.Bootstrap {
		got := interval(t, samples, sd, compare.BootstrapOptions{Resamples: 40000, Level: 0.9, Seed: 7})
		for method, ends := range map[string][2]float64{
			"percentile": {got.PercentileLow, got.PercentileHigh}, "BCa": {got.BCaLow, got.BCaHigh},
		} {
			for k, end := range ends {
				// The mean of ten seeds of 4000 and one of 40 000 are equally sharp.
				tol := 5 * want.Bootstrap[i][method].SD[k] * math.Sqrt(2.0/10)
				near(t, fmt.Sprintf("bootstrap %d, %s, end %d", i+1, method, k+1), end, want.Bootstrap[i][method].Mean[k], tol, src)
			}
		}
	}
}

func interval(t *testing.T, samples [][]float64, statistic func([]float64) float64, o compare.BootstrapOptions) compare.BootstrapInterval {
	t.Helper()
	var got compare.BootstrapInterval
	var err error
	if len(samples) == 1 {
		got, err = compare.Bootstrap(compare.Sample{Values: samples[0]}, statistic, o)
	} else {
		got, err = compare.BootstrapDifference(compare.Sample{Values: samples[0]}, compare.Sample{Values: samples[1]}, statistic, o)
	}
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func run(t *testing.T, cases, results any) {
	t.Helper()
	in, err := json.Marshal(cases)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "/usr/bin/python3", "../../testdata/stat/compare.py")
	cmd.Stdin = bytes.NewReader(in)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("compare.py: %v (scipy is needed: apt-get install python3-scipy)\n%s", err, stderr.Bytes())
	}
	if err := json.Unmarshal(out, results); err != nil {
		t.Fatalf("compare.py wrote %q: %v", out[:min(len(out), 200)], err)
	}
}

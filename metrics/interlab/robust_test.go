package interlab_test

import (
	"math"
	"testing"

	"thudbook/metrics/fault"
	"thudbook/metrics/interlab"
)

var (
	// The example of ISO 5725-5:1998 as the help of an R package repeats it;
	// not confirmed against print.
	seven = []float64{4.5, 4.9, 5.6, 4.2, 6.2, 5.2, 9.9}
	// Invented, with one wild result.
	eight = []float64{112.4, 115.1, 109.8, 113.0, 131.5, 110.7, 114.2, 112.9}
)

func TestAlgorithmA(t *testing.T) {
	const src = "independent computation, confirmed with another implementation"
	for _, tc := range []struct {
		name        string
		v           []float64
		c           interlab.AlgorithmAConstants
		mean, sd, u float64
		tolerance   float64
	}{
		{"seven, printed constants", seven, interlab.PrintedConstants(), 5.386489230, 1.145956920, 1.25 * 1.145956920 / math.Sqrt(7), 1e-8},
		{"seven, exact constants", seven, interlab.ExactConstants(), 5.386138794, 1.144555175, 1.25 * 1.144555175 / math.Sqrt(7), 1e-8},
		{"eight, printed constants", eight, interlab.PrintedConstants(), 113.158896076, 2.674848355, 1.182127, 1e-6},
	} {
		r, err := interlab.AlgorithmA(tc.v, tc.c)
		if err != nil {
			t.Fatal(err)
		}
		near(t, tc.name+", x*", r.Mean, tc.mean, tc.tolerance, src)
		near(t, tc.name+", s*", r.SD, tc.sd, tc.tolerance, src)
		near(t, tc.name+", u(x*)", r.UMean, tc.u, tc.tolerance, src)
	}
}

func TestAlgorithmAOddities(t *testing.T) {
	// More than half equal: no median absolute deviation to begin from.
	r, err := interlab.AlgorithmA([]float64{5, 5, 5, 5, 9}, interlab.PrintedConstants())
	if err != nil || !r.MADZero || !(r.SD >= 0) || !(r.Mean >= 5 && r.Mean < 6) {
		t.Errorf("mostly equal: %+v, %v", r, err)
	}
	r, err = interlab.AlgorithmA([]float64{5, 5, 5}, interlab.PrintedConstants())
	if err != nil || r.Mean != 5 || r.SD != 0 {
		t.Errorf("all equal: %+v, %v; want 5 and 0", r, err)
	}
	for name, v := range map[string][]float64{"two": {1, 2}, "none": nil} {
		_, err := interlab.AlgorithmA(v, interlab.PrintedConstants())
		if f, ok := fault.As(err); !ok || f.Code != interlab.TooFewLaboratories {
			t.Errorf("%s: error %v, want %s", name, err, interlab.TooFewLaboratories)
		}
	}
	_, err = interlab.AlgorithmA([]float64{1, math.Inf(1), 2}, interlab.PrintedConstants())
	if f, ok := fault.As(err); !ok || f.Code != interlab.BadResult {
		t.Errorf("infinite: error %v, want %s", err, interlab.BadResult)
	}
}

func TestScores(t *testing.T) {
	const src = "by hand from the definitions of ISO 13528:2015, clause 9"
	a := interlab.Assigned{Value: 100, U: 3}
	check := func(name string, s interlab.Score, err error, value float64, word interlab.Performance) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		near(t, name, s.Value, value, 1e-12, src)
		if s.Word != word {
			t.Errorf("%s = %g is called %q, want %q (%s)", name, s.Value, s.Word, word, src)
		}
	}
	z := func(x float64) (interlab.Score, error) { return a.Z(x, 4) }
	s, err := z(108)
	check("z", s, err, 2, interlab.Satisfactory)
	s, err = z(91)
	check("z", s, err, -2.25, interlab.Warning)
	s, err = z(112)
	check("z", s, err, 3, interlab.Action)
	s, err = a.ZPrime(110, 4)
	check("z'", s, err, 2, interlab.Satisfactory)
	s, err = a.Zeta(85, 4)
	check("zeta", s, err, -3, interlab.Action)
	s, err = a.En(110, 8)
	check("E_n", s, err, 1, interlab.Satisfactory)
	s, err = a.En(89, 8)
	check("E_n", s, err, -1.1, interlab.Action)
	if !a.NeedsZPrime(9.9) || a.NeedsZPrime(10.1) {
		t.Error("z' is needed when u > 0.3 sigma, and only then")
	}
	for name, f := range map[string]func() (interlab.Score, error){
		"sigma zero":     func() (interlab.Score, error) { return a.Z(1, 0) },
		"sigma infinite": func() (interlab.Score, error) { return a.Z(1, math.Inf(1)) },
		"z' sigma zero":  func() (interlab.Score, error) { return a.ZPrime(1, 0) },
		"zeta u below":   func() (interlab.Score, error) { return a.Zeta(1, -1) },
		"E_n not known":  func() (interlab.Score, error) { return a.En(1, math.NaN()) },
	} {
		_, err := f()
		if f, ok := fault.As(err); !ok || f.Code != interlab.BadScale || f.Fix == "" {
			t.Errorf("%s: error %v, want %s", name, err, interlab.BadScale)
		}
	}
	if _, err := a.Z(math.NaN(), 1); err == nil {
		t.Error("a result that is not a number got a score")
	}
}

func TestSDGrowth(t *testing.T) {
	// Exact powers: the exponent comes back, and with it the advice.
	means := []float64{20, 50, 100, 200}
	for _, tc := range []struct {
		c    float64
		take bool
	}{{1, true}, {0, false}, {0.5, false}} {
		sds := make([]float64, len(means))
		for i, m := range means {
			sds[i] = 0.05 * math.Pow(m, tc.c) * (1 + 0.001*float64(1-2*(i%2)))
		}
		g, err := interlab.SDGrowth(means, sds, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "c", g.C, tc.c, 2e-3, "made with this exponent")
		near(t, "b", g.B, 0.05, 1e-3, "made with this factor")
		if g.TakeLogarithms != tc.take || g.Advice == "" {
			t.Errorf("c = %g: logarithms %v, %q; want %v", tc.c, g.TakeLogarithms, g.Advice, tc.take)
		}
	}
	g, err := interlab.SDGrowth([]float64{20, 50, 100, 200, 0, 30}, []float64{1, 2.4, 5.2, 9.9, 3, 0}, 0.95)
	if err != nil || g.Points != 4 || g.LeftOut != 2 {
		t.Errorf("%+v, %v; want 4 pairs used, 2 left out", g, err)
	}
	for name, m := range map[string][]float64{"two": {1, 2, 0}, "one mean": {5, 5, 5}} {
		if _, err := interlab.SDGrowth(m, []float64{1, 2, 3}, 0.95); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestLogLevel(t *testing.T) {
	l := interlab.Level{Name: "peak", Unit: "g", Cells: []interlab.Cell{
		{Laboratory: "north", Values: []float64{100, 103}}, {Laboratory: "south", Values: []float64{110, 108}}}}
	logs, err := l.Log()
	if err != nil {
		t.Fatal(err)
	}
	p, err := interlab.Analyse(logs, interlab.ISO5725)
	if err != nil {
		t.Fatal(err)
	}
	// s_r² is the mean of the two cells' d²/2.
	want := math.Sqrt((math.Pow(math.Log(1.03), 2) + math.Pow(math.Log(110.0/108), 2)) / 4)
	near(t, "relative s_r", p.Sr, want, 1e-12, "by hand")
	if p.Unit != "ln(g)" || l.Cells[0].Values[0] != 100 {
		t.Errorf("unit %q, first value %g: want ln(g), and the level unchanged", p.Unit, l.Cells[0].Values[0])
	}
	l.Cells[1].Values[1] = 0
	_, err = l.Log()
	if f, ok := fault.As(err); !ok || f.Code != interlab.BadResult {
		t.Errorf("a zero: error %v, want %s", err, interlab.BadResult)
	}
}

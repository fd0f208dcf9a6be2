package interlab_test

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"thudbook/metrics/interlab"
)

// Everything scipy can compute apart from this code: testdata/stat/interlab.py.
func TestAgainstScipy(t *testing.T) {
	cases := struct {
		Critical [][3]float64  `json:"critical"`
		Robust   [][]float64   `json:"robust"`
		Means    []float64     `json:"means"`
		SDs      []float64     `json:"sds"`
		Groups   [][][]float64 `json:"groups"`
	}{
		Robust: [][]float64{seven, eight},
		Means:  []float64{21, 48, 103, 160, 212}, SDs: []float64{1.2, 2.0, 6.1, 6.9, 12.4},
		Groups: [][][]float64{pairs(t, "strd_sirstv.csv")},
	}
	for _, p := range []float64{2, 3, 5, 8, 17, 60} {
		for _, n := range []float64{2, 3, 7, 30} {
			for _, alpha := range []float64{0.05, 0.01, 0.005, 1e-4} {
				cases.Critical = append(cases.Critical, [3]float64{p, n, alpha})
			}
		}
	}
	for _, l := range levels(t, filepath.Join(tables, "coal_sulfur_iso5725_reconstructed.csv")) {
		var groups [][]float64
		for _, c := range l.Cells {
			groups = append(groups, c.Values)
		}
		cases.Groups = append(cases.Groups, groups)
	}
	var want struct {
		Critical  []struct{ H, K, Cochran, Grubbs float64 }
		Robust    [][2]float64
		Constants struct{ MAD, Scale float64 }
		Growth    struct{ C, Low, High float64 }
		F, P      []float64
		StRD      []struct {
			Name               string
			Groups             [][]float64
			Between, Within, F float64
		} `json:"strd"`
	}
	python(t, "interlab.py", cases, &want)
	const src = "scipy, testdata/stat/interlab.py"
	relative := func(what string, got, want, tol float64) {
		t.Helper()
		near(t, what, got, want, tol*math.Abs(want), src)
	}
	if len(want.Critical) != len(cases.Critical) {
		t.Fatalf("%d critical values, want %d", len(want.Critical), len(cases.Critical))
	}
	for i, c := range cases.Critical {
		p, n, at := int(c[0]), int(c[1]), fmt.Sprint(c)
		relative("k "+at, interlab.KCritical(p, n, c[2]), want.Critical[i].K, 1e-9)
		relative("Cochran "+at, interlab.CochranCritical(p, n, c[2]), want.Critical[i].Cochran, 1e-9)
		if p > 2 {
			relative("h "+at, interlab.HCritical(p, c[2]), want.Critical[i].H, 1e-9)
			relative("Grubbs "+at, interlab.GrubbsCritical(p, c[2]), want.Critical[i].Grubbs, 1e-9)
		}
	}
	for i, v := range cases.Robust {
		r, err := interlab.AlgorithmA(v, interlab.PrintedConstants())
		if err != nil {
			t.Fatal(err)
		}
		relative("x*", r.Mean, want.Robust[i][0], 1e-9)
		relative("s*", r.SD, want.Robust[i][1], 1e-9)
	}
	relative("factor of the median absolute deviation", interlab.ExactConstants().MAD, want.Constants.MAD, 1e-14)
	relative("factor of the drawn-in deviation", interlab.ExactConstants().Scale, want.Constants.Scale, 1e-9)
	g, err := interlab.SDGrowth(cases.Means, cases.SDs, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	relative("c", g.C, want.Growth.C, 1e-10)
	relative("c low", g.CLow, want.Growth.Low, 1e-9)
	relative("c high", g.CHigh, want.Growth.High, 1e-9)
	for i, groups := range cases.Groups {
		a, err := interlab.OneWay(groups)
		if err != nil {
			t.Fatal(err)
		}
		f, p := a.F()
		relative("F", f, want.F[i], 1e-9)
		relative("p", p, want.P[i], 1e-8)
	}
	// All eleven certified sets as Debian's scipy carries them. The floor is
	// what the data lets any program with 53 bits reach: SmLs04 to 06 share
	// seven leading digits, SmLs07 to 09 thirteen.
	if len(want.StRD) != 11 {
		t.Fatalf("%d certified sets, want 11", len(want.StRD))
	}
	floor := map[string]float64{"AtmWtAg.dat": 8.4, "SmLs04.dat": 9.5, "SmLs05.dat": 9.5, "SmLs06.dat": 9.5,
		"SmLs07.dat": 3.5, "SmLs08.dat": 3.5, "SmLs09.dat": 3.5}
	for _, s := range want.StRD {
		a, err := interlab.OneWay(s.Groups)
		if err != nil {
			t.Fatal(err)
		}
		f, _ := a.F()
		got := min(digits(a.MeanSquareBetween, s.Between), digits(a.MeanSquareWithin, s.Within), digits(f, s.F))
		least, ok := floor[s.Name]
		if !ok {
			least = 11
		}
		t.Logf("%s: %.1f digits agree", s.Name, got)
		if got < least {
			t.Errorf("%s: %.1f digits agree, want %.1f (NIST StRD, certified)", s.Name, got, least)
		}
	}
}

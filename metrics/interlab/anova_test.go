package interlab_test

import (
	"math"
	"testing"

	"thudbook/metrics/fault"
	"thudbook/metrics/interlab"
)

// digits that agree with a certified value, as NIST counts them.
func digits(got, certified float64) float64 {
	if got == certified {
		return 15
	}
	return min(15, -math.Log10(math.Abs(got-certified)/math.Abs(certified)))
}

// Certified values of the NIST Statistical Reference Datasets SiRstv and
// AtmWtAg, analysis of variance (public domain; also in Debian's
// python3-scipy). AtmWtAg shares seven leading digits, so the data itself
// carries about nine; a sum of squares less the square of the sum fails there.
func TestOneWayAgainstCertifiedValues(t *testing.T) {
	const src = "NIST StRD, certified"
	for _, tc := range []struct {
		file                       string
		between, within, f, sd     float64
		dfBetween, dfWithin        int
		wantBetween, wantWithinDig float64
	}{
		{"strd_sirstv.csv", 1.27865654000000e-02, 1.08318280000000e-02, 1.18046237440255, 1.04076068334656e-01, 4, 20, 12.5, 12.5},
		{"strd_atmwtag.csv", 3.63834187500000e-09, 2.28155932971014e-10, 15.9467335677930, 1.51048314446410e-05, 1, 46, 9, 9},
	} {
		a, err := interlab.OneWay(pairs(t, tc.file))
		if err != nil {
			t.Fatal(err)
		}
		f, _ := a.F()
		b, w := digits(a.MeanSquareBetween, tc.between), digits(a.MeanSquareWithin, tc.within)
		t.Logf("%s: digits that agree: between %.1f, within %.1f, F %.1f", tc.file, b, w, digits(f, tc.f))
		if b < tc.wantBetween || w < tc.wantWithinDig || digits(f, tc.f) < tc.wantBetween {
			t.Errorf("%s: between %.15g, within %.15g, F %.15g; want %.15g, %.15g, %.15g (%s)",
				tc.file, a.MeanSquareBetween, a.MeanSquareWithin, f, tc.between, tc.within, tc.f, src)
		}
		near(t, tc.file+" residual standard deviation", math.Sqrt(a.MeanSquareWithin), tc.sd, 1e-9*tc.sd, src)
		if a.DFBetween != tc.dfBetween || a.DFWithin != tc.dfWithin {
			t.Errorf("%s: degrees of freedom %d and %d, want %d and %d (%s)", tc.file, a.DFBetween, a.DFWithin, tc.dfBetween, tc.dfWithin, src)
		}
	}
}

func TestSirstvAsInterlaboratoryStudy(t *testing.T) {
	l := interlab.Level{Name: "SiRstv"}
	for i, g := range pairs(t, "strd_sirstv.csv") {
		l.Cells = append(l.Cells, interlab.Cell{Laboratory: string(rune('A' + i)), Values: g})
	}
	p, err := interlab.Analyse(l, interlab.E691)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "s_r", p.Sr, 1.04076068334656e-01, 1e-13, "NIST StRD, certified residual standard deviation")
	const src = "from the certified mean squares: √((MSB-MSW)/5), √(s_L²+MSW)"
	near(t, "s_L", p.SL, 0.019772391863, 1e-12, src)
	near(t, "s_R", p.SR, 0.10593760182, 1e-11, src)
	if !p.Indicative || p.SLBelowZero {
		t.Errorf("five laboratories: indicative %v, s_L below zero %v; want true, false", p.Indicative, p.SLBelowZero)
	}
}

func TestOneWayFaults(t *testing.T) {
	for _, tc := range []struct {
		name   string
		groups [][]float64
		code   fault.Code
	}{
		{"nothing", nil, interlab.TooFewLaboratories},
		{"one group", [][]float64{{1, 2}, {}}, interlab.TooFewLaboratories},
		{"no replicates", [][]float64{{1}, {2}}, interlab.TooFewReplicates},
		{"not a number", [][]float64{{1, math.NaN()}, {2, 3}}, interlab.BadResult},
		{"infinite", [][]float64{{1, 2}, {math.Inf(-1), 3}}, interlab.BadResult},
		{"beyond squaring", [][]float64{{1, 2}, {1e200, 3}}, interlab.BadResult},
	} {
		_, err := interlab.OneWay(tc.groups)
		if f, ok := fault.As(err); !ok || f.Code != tc.code || f.Fix == "" {
			t.Errorf("%s: error %v, want %s with a fix", tc.name, err, tc.code)
		}
	}
	// F without scatter within the groups.
	a, err := interlab.OneWay([][]float64{{1, 1}, {2, 2}})
	if err != nil {
		t.Fatal(err)
	}
	if f, p := a.F(); !math.IsInf(f, 1) || p != 0 {
		t.Errorf("F = %g, p = %g; want +Inf and 0", f, p)
	}
}

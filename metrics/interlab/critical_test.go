package interlab_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"thudbook/metrics/interlab"
)

func TestPublishedCriticalValues(t *testing.T) {
	const e691 = "ASTM E691, 0.5 %; p = 8, n = 3 not confirmed against print, the others computed apart from this code"
	for _, tc := range []struct {
		p int
		h float64
		k map[int]float64
	}{
		{3, 1.15, map[int]float64{2: 1.72, 3: 1.67, 4: 1.61, 5: 1.56, 6: 1.52, 10: 1.42}},
		{4, 1.49, map[int]float64{2: 1.95, 3: 1.82, 4: 1.73, 5: 1.66, 6: 1.60, 10: 1.47}},
		{5, 1.74, map[int]float64{2: 2.11, 3: 1.92, 4: 1.79, 5: 1.71, 6: 1.65, 10: 1.50}},
		{6, 1.92, map[int]float64{2: 2.22, 3: 1.98, 4: 1.84, 5: 1.75, 6: 1.68, 10: 1.52}},
		{7, 2.05, map[int]float64{2: 2.30, 3: 2.03, 4: 1.87, 5: 1.77, 6: 1.70, 10: 1.54}},
		{8, 2.15, map[int]float64{2: 2.36, 3: 2.06, 4: 1.90, 5: 1.79, 6: 1.72, 10: 1.55}},
		{10, 2.29, map[int]float64{2: 2.45, 3: 2.11, 4: 1.93, 5: 1.82, 6: 1.74, 10: 1.56}},
		{15, 2.47, map[int]float64{2: 2.57, 3: 2.17, 4: 1.98, 5: 1.86, 6: 1.77, 10: 1.58}},
		{20, 2.56, map[int]float64{2: 2.63, 3: 2.21, 4: 2.00, 5: 1.87, 6: 1.79, 10: 1.59}},
	} {
		near(t, fmt.Sprintf("h, p = %d", tc.p), interlab.HCritical(tc.p, 0.005), tc.h, 5.1e-3, e691)
		for n, want := range tc.k {
			near(t, fmt.Sprintf("k, p = %d, n = %d", tc.p, n), interlab.KCritical(tc.p, n, 0.005), want, 5.1e-3, e691)
		}
	}
	const iso = "ISO 5725-2:1994, tables 4 to 7; not confirmed against print"
	near(t, "h, p = 8, 1 %", interlab.HCritical(8, 0.01), 2.06, 5.1e-3, iso)
	near(t, "h, p = 8, 5 %", interlab.HCritical(8, 0.05), 1.75, 5.1e-3, iso)
	near(t, "k, p = 8, n = 3, 1 %", interlab.KCritical(8, 3, 0.01), 1.96, 5.1e-3, iso)
	near(t, "k, p = 8, n = 3, 5 %", interlab.KCritical(8, 3, 0.05), 1.67, 5.1e-3, iso)
	for _, tc := range []struct {
		p, n     int
		at1, at5 float64
	}{{8, 3, 0.615, 0.516}, {8, 2, 0.794, 0.680}, {5, 3, 0.789, 0.684}, {10, 3, 0.536, 0.445}, {3, 2, 0.993, 0.967}} {
		near(t, fmt.Sprintf("Cochran, p = %d, n = %d, 1 %%", tc.p, tc.n), interlab.CochranCritical(tc.p, tc.n, 0.01), tc.at1, 5.1e-4, iso)
		near(t, fmt.Sprintf("Cochran, p = %d, n = %d, 5 %%", tc.p, tc.n), interlab.CochranCritical(tc.p, tc.n, 0.05), tc.at5, 5.1e-4, iso)
	}
	// The standard prints 2.126 for p = 8 and 1.155 for p = 3 at 5 %, and so
	// differs by a rounding in the last digit.
	for _, tc := range []struct {
		p        int
		at1, at5 float64
	}{{3, 1.155, 1.154}, {5, 1.764, 1.715}, {6, 1.973, 1.887}, {8, 2.274, 2.127}, {10, 2.482, 2.290}, {12, 2.636, 2.412}, {15, 2.806, 2.548}, {20, 3.001, 2.708}} {
		near(t, fmt.Sprintf("Grubbs, p = %d, 1 %%", tc.p), interlab.GrubbsCritical(tc.p, 0.01), tc.at1, 5.1e-4, iso)
		near(t, fmt.Sprintf("Grubbs, p = %d, 5 %%", tc.p), interlab.GrubbsCritical(tc.p, 0.05), tc.at5, 5.1e-4, iso)
	}
}

func TestGrubbsPairTableEnds(t *testing.T) {
	for _, p := range []int{-1, 0, 3, 41, 1000} {
		if _, _, ok := interlab.GrubbsPairCritical(p); ok {
			t.Errorf("a critical value for %d laboratories, which is not tabulated", p)
		}
	}
	for p := 4; p <= 40; p++ {
		if at1, at5, ok := interlab.GrubbsPairCritical(p); !ok || !(at1 < at5) || !(at5 < 0.65) {
			t.Errorf("p = %d: %g, %g, %v", p, at1, at5, ok)
		}
	}
}

// The table of Grubbs' test for two against simulation: normal results, both
// ends, and a share of 0.5 % and 2.5 % below the critical values. Its
// tolerance is four standard errors and what the last printed digit is worth.
func TestGrubbsPairTableBySimulation(t *testing.T) {
	const draws = 20000
	rng := rand.New(rand.NewPCG(5725, 2))
	for _, p := range []int{5, 6, 7, 8, 9, 10, 12, 15, 20, 25, 30, 35, 40} {
		at1, at5, _ := interlab.GrubbsPairCritical(p)
		g := make([]float64, 0, 2*draws)
		x := make([]float64, p)
		for range draws {
			for i := range x {
				x[i] = rng.NormFloat64()
			}
			slices.Sort(x)
			all := squares(x)
			g = append(g, squares(x[:p-2])/all, squares(x[2:])/all)
		}
		for _, c := range []struct{ critical, share float64 }{{at1, 0.005}, {at5, 0.025}} {
			below, rounding := 0, 0
			for _, v := range g {
				if v < c.critical {
					below++
				}
				if math.Abs(v-c.critical) < 5e-5 {
					rounding++
				}
			}
			n := float64(len(g))
			tol := 4*math.Sqrt(c.share*(1-c.share)/n) + float64(rounding)/n
			near(t, fmt.Sprintf("p = %d: share below %g", p, c.critical), float64(below)/n, c.share, tol, "simulation, 40 000 values")
		}
	}
}

func squares(x []float64) float64 {
	mean, ss := 0.0, 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		ss += (v - mean) * (v - mean)
	}
	return ss
}

// With unequal numbers of replicates the share of laboratories beyond the line
// for k is still alpha: by simulation through the public functions.
func TestKVerdictWithUnequalReplicates(t *testing.T) {
	const draws = 3000
	rng := rand.New(rand.NewPCG(691, 1))
	sizes := []int{2, 5, 3, 8}
	beyond := make([]int, len(sizes))
	for range draws {
		l := interlab.Level{Name: "drawn"}
		for i, n := range sizes {
			v := make([]float64, n)
			for k := range v {
				v[k] = rng.NormFloat64()
			}
			l.Cells = append(l.Cells, interlab.Cell{Laboratory: fmt.Sprint(i), Values: v})
		}
		p, err := interlab.Analyse(l, interlab.ISO5725)
		if err != nil {
			t.Fatal(err)
		}
		for i, row := range p.Rows {
			if row.KVerdict != interlab.Consistent {
				beyond[i]++
			}
		}
	}
	for i, b := range beyond {
		near(t, fmt.Sprintf("share of k beyond 5 %%, %d replicates", sizes[i]), float64(b)/draws, 0.05,
			4*math.Sqrt(0.05*0.95/draws), "simulation")
	}
}

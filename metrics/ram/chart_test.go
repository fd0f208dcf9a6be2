package ram_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"thudbook/metrics/fault"
	"thudbook/metrics/ram"
)

const tables = "../../testdata/stat"

// columns reads a table of two columns of numbers with a header.
func columns(t *testing.T, name string) (x, y []float64) {
	t.Helper()
	f, err := os.Open(filepath.Join(tables, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		a, err := strconv.ParseFloat(row[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		b, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		x, y = append(x, a), append(y, b)
	}
	return x, y
}

func TestEWMAOfTheHandbook(t *testing.T) {
	const src = "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4; not confirmed against print"
	_, x := columns(t, "nist_ewma_example.csv")
	c := ram.EWMA{Target: 50, Sigma: 2.0539, Lambda: 0.3, L: 3, FixedLimits: true}
	got, err := c.Run(x)
	if err != nil {
		t.Fatal(err)
	}
	want := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
		50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	if len(got) != len(want) {
		t.Fatalf("%d points, want %d", len(got), len(want))
	}
	for i, p := range got {
		near(t, fmt.Sprintf("z at %d", i+1), p.Z, want[i], 5.1e-3, src)
		near(t, "upper limit", p.High, 52.5884, 5.1e-5, src)
		near(t, "lower limit", p.Low, 47.4116, 5.1e-5, src)
		if p.Signal != ram.InControl {
			t.Errorf("a signal at %d (%s)", i+1, src)
		}
	}
	// Limits that grow with the scatter of z: λ L σ at first, by hand.
	c.FixedLimits = false
	if got, err = c.Run(x); err != nil {
		t.Fatal(err)
	}
	near(t, "first upper limit", got[0].High, 50+0.3*3*2.0539, 1e-12, "ISO 7870-6, first point")
	near(t, "second upper limit", got[1].High, 50+3*2.0539*0.3*math.Sqrt(1+0.49), 1e-12, "variance of 0.3 x2 + 0.21 x1")
	near(t, "last upper limit", got[19].High, 52.5884, 1e-3, src)
}

func TestCUSUMOfTheHandbook(t *testing.T) {
	const src = "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3; not confirmed against print"
	_, x := columns(t, "nist_cusum_example.csv")
	got, err := ram.CUSUM{Target: 325, Sigma: 1, K: 0.3175, H: 4.1959}.Run(x)
	if err != nil {
		t.Fatal(err)
	}
	first := -1
	for i, p := range got {
		if p.Signal != ram.InControl && first < 0 {
			first = i + 1
		}
	}
	if first != 14 || got[13].Signal != ram.Up {
		t.Fatalf("first signal at %d, want up at 14 (%s)", first, src)
	}
	near(t, "upper sum at 14", got[13].High, 4.94, 5.1e-3, src)
}

// A loss of speed is Down on both charts, and a head start sees it sooner.
func TestSignalsPointTheWay(t *testing.T) {
	x := make([]float64, 20)
	for i := range x {
		x[i] = 6 - 0.02 // one σ below
	}
	b := ram.Baseline{N: 20, Target: 6, Sigma: 0.02}
	e, err := ram.NewEWMA(b).Run(x)
	if err != nil {
		t.Fatal(err)
	}
	c, err := ram.NewCUSUM(b).Run(x)
	if err != nil {
		t.Fatal(err)
	}
	h := ram.NewCUSUM(b)
	h.HeadStart = h.H / 2
	f, err := h.Run(x)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: the lower sum grows by 1 - 0.5 at each shot.
	near(t, "lower sum after 8", c[7].Low, 4, 1e-9, "by hand")
	near(t, "lower sum after 4, head start", f[3].Low, 4.5, 1e-9, "by hand")
	if c[8].Signal != ram.InControl || c[10].Signal != ram.Down || f[5].Signal != ram.Down || f[3].Signal != ram.InControl {
		t.Errorf("cumulative sums: %+v, with a head start %+v", c[8:11], f[3:6])
	}
	// In standard deviations z = 1 - 0.9^i; its limit 0.6456 √(1 - 0.81^i) is
	// passed between i = 9 (0.6126, 0.5963) and i = 8 (0.5695, 0.5827).
	if e[7].Signal != ram.InControl || e[8].Signal != ram.Down || e[19].Signal != ram.Down {
		t.Errorf("moving averages: %+v at 8, %+v at 9, %+v last", e[7], e[8], e[19])
	}
}

func TestEstimateBaseline(t *testing.T) {
	b, err := ram.EstimateBaseline([]float64{1, 3, 2, 2})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "target", b.Target, 2, 1e-12, "by hand")
	near(t, "sigma", b.Sigma, 1/1.128, 5e-4, "by hand: mean moving range (2+1+0)/3 over d2 = 1.128, any table of control chart constants")
	for name, tc := range map[string]struct {
		x    []float64
		code fault.Code
	}{
		"nothing":      {nil, ram.TooFewShots},
		"one":          {[]float64{1}, ram.TooFewShots},
		"all equal":    {[]float64{6, 6, 6}, ram.TooFewShots},
		"not a number": {[]float64{6, math.NaN()}, ram.BadPoint},
	} {
		_, err := ram.EstimateBaseline(tc.x)
		if f, ok := fault.As(err); !ok || f.Code != tc.code || f.Fix == "" {
			t.Errorf("%s: error %v, want %s with a fix", name, err, tc.code)
		}
	}
}

func TestChartFaults(t *testing.T) {
	good := ram.Baseline{N: 20, Target: 0, Sigma: 1}
	ewma := func(change func(*ram.EWMA)) func([]float64) error {
		c := ram.NewEWMA(good)
		change(&c)
		return func(x []float64) error { _, err := c.Run(x); return err }
	}
	cusum := func(change func(*ram.CUSUM)) func([]float64) error {
		c := ram.NewCUSUM(good)
		change(&c)
		return func(x []float64) error { _, err := c.Run(x); return err }
	}
	for name, run := range map[string]func([]float64) error{
		"no sigma":        ewma(func(c *ram.EWMA) { c.Sigma = 0 }),
		"lambda 0":        ewma(func(c *ram.EWMA) { c.Lambda = 0 }),
		"lambda above 1":  ewma(func(c *ram.EWMA) { c.Lambda = 1.01 }),
		"no limit":        ewma(func(c *ram.EWMA) { c.L = math.NaN() }),
		"no target":       ewma(func(c *ram.EWMA) { c.Target = math.NaN() }),
		"infinite sigma":  cusum(func(c *ram.CUSUM) { c.Sigma = math.Inf(1) }),
		"K below zero":    cusum(func(c *ram.CUSUM) { c.K = -1 }),
		"H zero":          cusum(func(c *ram.CUSUM) { c.H = 0 }),
		"head start at H": cusum(func(c *ram.CUSUM) { c.HeadStart = 5 }),
		"target infinite": cusum(func(c *ram.CUSUM) { c.Target = math.Inf(-1) }),
	} {
		if f, ok := fault.As(run([]float64{1})); !ok || f.Code != ram.BadChart {
			t.Errorf("%s: error %v, want %s", name, run([]float64{1}), ram.BadChart)
		}
	}
	for name, run := range map[string]func([]float64) error{
		"ewma": ewma(func(*ram.EWMA) {}), "cusum": cusum(func(*ram.CUSUM) {}),
	} {
		err := run([]float64{0, math.Inf(1)})
		if f, ok := fault.As(err); !ok || f.Code != ram.BadPoint || f.What != "value 2 for the control chart is +Inf" {
			t.Errorf("%s: error %v, want %s naming value 2", name, err, ram.BadPoint)
		}
		if err := run(nil); err != nil {
			t.Errorf("%s: no values: %v", name, err)
		}
	}
}

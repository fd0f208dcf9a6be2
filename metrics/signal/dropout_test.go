package signal_test

import (
	"math"
	"testing"

	"thudbook/metrics/signal"
	"thudbook/metrics/simrig"
)

// The rig's loose plug: three stretches of 0.4 to 1 ms that read zero, the first of
// them inside the pulse. It is found on the channel that has it and on no other.
func TestDropoutOfTheSimulatedRig(t *testing.T) {
	seen := 0
	for seed := range uint64(5) {
		for _, name := range []string{"", "ax", "ay", "az", "wx", "wy", "wz"} {
			rig := simrig.New(simrig.Default(seed + 1))
			c := simrig.Command{PressureKPa: 138, Location: simrig.Locations()[int(seed)%len(simrig.Locations())].Name}
			if name != "" {
				c.Faults = []simrig.Fault{{Kind: simrig.Dropout, Channel: name}}
			}
			shot, err := rig.Fire(c)
			if err != nil {
				t.Fatal(err)
			}
			for _, ch := range shot.Channels {
				if ch.Unit == "V" {
					continue
				}
				sc := signal.Channel{Name: ch.Name, Unit: ch.Unit, Values: ch.Values, FullScale: 500}
				if ch.Unit == "g" {
					sc.Measures = signal.LinearAcceleration
				} else {
					sc.Measures, sc.FullScale = signal.AngularVelocity, 140
				}
				q := signal.Inspect(&sc)
				switch found := q.Dropouts > 0 || q.StuckRun > 0; {
				case ch.Name != name && found:
					t.Errorf("seed %d, fault on %q: %s is called interrupted: %+v", seed+1, name, ch.Name, q)
				case found:
					seen++
				case ch.Name == name && deep(ch.Values):
					t.Errorf("seed %d, %s: the loose plug was not seen", seed+1, name)
				}
			}
		}
	}
	if seen < 20 {
		t.Errorf("only %d of 30 loose plugs were seen, want at least 20: the rest reads zero where the signal is small anyway", seen)
	}
}

// deep tells whether the signal falls to zero from a level that is worth a remark.
func deep(v []float64) bool {
	largest := 0.0
	for _, x := range v {
		largest = math.Max(largest, math.Abs(x))
	}
	for i := 1; i+3 < len(v); i++ {
		if v[i] == 0 && v[i+1] == 0 && v[i+2] == 0 && math.Abs(v[i-1]) > 0.1*largest {
			return true
		}
	}
	return false
}

// A half sine of 100 g and 10 ms at 20 kHz that reads zero for 0.4 and for 1 ms.
func TestDropoutInAPulse(t *testing.T) {
	for _, n := range []int{8, 20} {
		c := pulse()
		for i := 580; i < 580+n; i++ {
			c.Values[i] = 0
		}
		if q := signal.Inspect(c); q.Dropouts != 1 || q.DropoutStart != 580 || q.DropoutSamples != n {
			t.Errorf("%d samples: %+v, want one dropout at 580", n, q)
		}
	}
	for name, of := range map[string]func(i int) float64{
		"square pulse":        func(i int) float64 { return 100 * boole(i > 500 && i < 600) },
		"square pulse, noisy": func(i int) float64 { return 100*boole(i > 500 && i < 600) + boole(i <= 500)*float64(i%7)/10 },
		"quiet, coarse":       func(i int) float64 { return math.Round(0.6*math.Sin(float64(i*i))) / 2 },
		"pulse in coarse steps": func(i int) float64 {
			return math.Round(10*math.Sin(math.Pi*float64(i)/2000)+0.3*math.Sin(float64(i*i))) / 2
		},
	} {
		c := pulse()
		for i := range c.Values {
			c.Values[i] = of(i)
		}
		if q := signal.Inspect(c); q.Dropouts > 0 {
			t.Errorf("%s: %+v, want no remark", name, q)
		}
	}
}

func boole(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// Slope and standard error of the least-squares line, worked by hand.
func TestTrend(t *testing.T) {
	slope, se := signal.Trend([]float64{1, 2, 4, 5})
	// Σ(x−x̄)(y−ȳ) = (−1.5)(−2)+(−0.5)(−1)+(0.5)(1)+(1.5)(2) = 7; Σ(x−x̄)² = 5
	// residuals 0.1, −0.3, 0.3, −0.1: Σ = 0.20
	if math.Abs(slope-1.4) > 1e-15 || math.Abs(se-math.Sqrt(0.2/2/5)) > 1e-15 {
		t.Errorf("slope %g ± %g, want 1.4 ± %g", slope, se, math.Sqrt(0.02))
	}
	if slope, se := signal.Trend([]float64{1, 2}); slope != 0 || se != 0 {
		t.Errorf("two values have a trend of %g ± %g", slope, se)
	}
}

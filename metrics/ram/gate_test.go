package ram_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/fault"
	"thudbook/metrics/ram"
	"thudbook/metrics/signal"
)

// gateTrace is a light gate of n samples at rate: blocked from first to last
// (times of the half level), edges that rise over riseS.
func gateTrace(rate float64, n int, first, last, riseS float64) (*signal.Recording, *signal.Channel) {
	rec := &signal.Recording{StartS: -0.05, RateHz: rate, Channels: []signal.Channel{{
		Name: "gate", Measures: signal.LightGate, Unit: "V", FlagMM: 25, Values: make([]float64, n),
	}}}
	gate := &rec.Channels[0]
	ramp := func(t float64) float64 {
		if riseS == 0 {
			if t >= 0 {
				return 1
			}
			return 0
		}
		return min(max(t/riseS+0.5, 0), 1)
	}
	for i := range gate.Values {
		t := rec.At(i)
		gate.Values[i] = 0.2 + 4.6*(ramp(t-first)-ramp(t-last))
	}
	return rec, gate
}

func TestGateSpeedOfAnIdealFlag(t *testing.T) {
	// v = w/dt: 25 mm in 5 ms is 5 m/s. Ramps of four samples, edges off the
	// sampling grid, so linear interpolation is exact.
	rec, gate := gateTrace(20000, 4000, -0.0083217, -0.0033217, 0.0002)
	v, U, err := ram.GateSpeed(rec, gate)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(v-5) > 1e-9 {
		t.Errorf("speed = %.12f m/s, want 5 (25 mm / 5 ms)", v)
	}
	if U <= 0 || U > 0.01*v {
		t.Errorf("expanded uncertainty = %g m/s, want above 0 and below 1 %% of the speed", U)
	}
}

func TestGateUncertaintyByFormula(t *testing.T) {
	// JCGM 100:2008, 5.1.2 for v = w/dt with w = 25.40 mm, u(w) = 0.02 mm,
	// dt = 4.618 ms, sharp edges sampled every 1 us: u(dt) = 1 us/sqrt(6). By
	// hand: u(v)/v = hypot(7.874e-4, 8.84e-5) = 7.92e-4; the clock's 100e-6/sqrt(3)
	// makes it 7.944e-4.
	rec, gate := gateTrace(1e6, 60000, -0.0060003, -0.0060003+0.004618, 0)
	gate.FlagMM = 25.40
	p, err := ram.MeasurePassage(rec, gate)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(p.SpeedMS-5.5002) > 0.0012 {
		t.Errorf("speed = %.5f m/s, want 5.5002 within one clock step", p.SpeedMS)
	}
	if rel := p.StandardUncertaintyMS / p.SpeedMS; math.Abs(rel-7.944e-4) > 2e-7 {
		t.Errorf("relative standard uncertainty = %.4e, want 7.944e-4 (worked by hand)", rel)
	}
	gate.ExpandedUncertaintyPercent = 1 // of the flag's width, k = 2
	p, err = ram.MeasurePassage(rec, gate)
	if err != nil {
		t.Fatal(err)
	}
	if rel := p.StandardUncertaintyMS / p.SpeedMS; math.Abs(rel-0.5e-2) > 2e-6 {
		t.Errorf("relative standard uncertainty = %.4e, want the stated 0.5 %%", rel)
	}
}

// The propagated uncertainty against a Monte Carlo of the same quantities
// (JCGM 101:2008): flag width, sampling phase, noise.
func TestGateUncertaintyByMonteCarlo(t *testing.T) {
	for _, tc := range []struct {
		name          string
		riseS, noiseV float64
	}{{"sharp edges", 0, 0.02}, {"slow edges", 0.0003, 0.05}} {
		t.Run(tc.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(11, 7))
			const n = 400
			var inside int
			var sumSq, sumU2 float64
			for range n {
				speed := 5 + rng.Float64() // so that the passage is no fixed count of samples
				widthMM := 25 + 0.02*rng.NormFloat64()
				first := -0.009 + 50e-6*rng.Float64()
				rec, gate := gateTrace(20000, 2000, first, first+widthMM/1000/speed, tc.riseS)
				for i := range gate.Values {
					gate.Values[i] += tc.noiseV * rng.NormFloat64()
				}
				v, U, err := ram.GateSpeed(rec, gate)
				if err != nil {
					t.Fatal(err)
				}
				d := v - speed
				sumSq += d * d
				sumU2 += U * U / 4
				if math.Abs(d) <= U {
					inside++
				}
			}
			if got := float64(inside) / n; got < 0.93 {
				t.Errorf("the expanded interval holds the true speed in %.1f %% of the draws, want about 95 %%", 100*got)
			}
			if ratio := math.Sqrt(sumU2 / sumSq); ratio < 0.85 || ratio > 1.5 {
				t.Errorf("stated over observed standard deviation = %.3f, want about 1", ratio)
			}
		})
	}
}

func TestGateDoesNotCareAboutScaleOrPolarity(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		first := rapid.Float64Range(-0.03, -0.02).Draw(r, "first")
		speed := rapid.Float64Range(1.5, 12).Draw(r, "speed")
		gain := rapid.Float64Range(0.01, 300).Draw(r, "gain")
		if rapid.Bool().Draw(r, "inverted") {
			gain = -gain
		}
		offset := rapid.Float64Range(-50, 50).Draw(r, "offset")
		rec, gate := gateTrace(20000, 2000, first, first+0.025/speed, 0.0004)
		for i := range gate.Values {
			gate.Values[i] = offset + gain*gate.Values[i]
		}
		v, _, err := ram.GateSpeed(rec, gate)
		if err != nil {
			r.Fatal(err)
		}
		if math.Abs(v-speed) > 1e-6*speed {
			r.Errorf("speed = %.9f m/s, want %.9f", v, speed)
		}
	})
}

func TestGateStepsOverDisturbances(t *testing.T) {
	rec, gate := gateTrace(20000, 4000, -0.0083217, -0.0033217, 0.0002)
	gate.Values[100], gate.Values[101] = 9, 9 // a spike of two samples
	gate.Values[2500] = -30
	gate.Values[880] = 0.1 // a dip while the flag is in the gate
	gate.Values[300] = math.NaN()
	gate.Values[900] = math.Inf(1)
	p, err := ram.MeasurePassage(rec, gate)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(p.SpeedMS-5) > 1e-6 || p.SpikesIgnored != 2 {
		t.Errorf("speed %.7f m/s with %d spikes, want 5 and 2 (the downward spike is no change towards blocked)", p.SpeedMS, p.SpikesIgnored)
	}
}

func TestGateFaultsSayWhatToDo(t *testing.T) {
	flat := func() (*signal.Recording, *signal.Channel) { return gateTrace(20000, 4000, 9, 9.1, 0) }
	cases := []struct {
		name string
		make func() (*signal.Recording, *signal.Channel)
		code fault.Code
	}{
		{"constant", flat, ram.NoEdge},
		{"noise alone", func() (*signal.Recording, *signal.Channel) {
			rec, g := flat()
			rng := rand.New(rand.NewPCG(1, 1))
			for i := range g.Values {
				g.Values[i] += 0.05 * rng.NormFloat64()
			}
			return rec, g
		}, ram.NoEdge},
		{"one spike", func() (*signal.Recording, *signal.Channel) {
			rec, g := flat()
			g.Values[77] = 5
			return rec, g
		}, ram.NoEdge},
		{"all unreadable", func() (*signal.Recording, *signal.Channel) {
			rec, g := flat()
			for i := range g.Values {
				g.Values[i] = math.NaN()
			}
			return rec, g
		}, ram.NoEdge},
		{"no sample", func() (*signal.Recording, *signal.Channel) {
			rec, g := flat()
			g.Values = nil
			return rec, g
		}, ram.NoEdge},
		{"begins blocked", func() (*signal.Recording, *signal.Channel) {
			return gateTrace(20000, 4000, -1, -0.04, 0)
		}, ram.OneEdge},
		{"ends blocked", func() (*signal.Recording, *signal.Channel) {
			return gateTrace(20000, 4000, 0.1, 9, 0)
		}, ram.OneEdge},
		{"ram stays in the gate", func() (*signal.Recording, *signal.Channel) {
			return gateTrace(20000, 4000, -0.01, 9, 0)
		}, ram.OneEdge},
		{"two flags", func() (*signal.Recording, *signal.Channel) {
			rec, g := gateTrace(20000, 4000, -0.01, -0.005, 0)
			copy(g.Values[1000:1100], g.Values[800:900])
			return rec, g
		}, ram.SeveralFlags},
		{"no width", func() (*signal.Recording, *signal.Channel) {
			rec, g := gateTrace(20000, 4000, -0.01, -0.005, 0)
			g.FlagMM = 0
			return rec, g
		}, ram.FlagUnknown},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			rec, g := tc.make()
			v, _, err := ram.GateSpeed(rec, g)
			f, ok := fault.As(err)
			if !ok {
				t.Fatalf("speed %g, error %v: want a *fault.Error", v, err)
			}
			if f.Code != tc.code || f.Channel != "gate" || f.Fix == "" || f.What == "" {
				t.Errorf("fault = %+v, want code %s with channel and fix", f, tc.code)
			}
			if strings.Contains(f.Error(), "NaN") {
				t.Errorf("fault shows a NaN: %s", f)
			}
		})
	}
}

func TestGateWithUnevenTimes(t *testing.T) {
	even, gate := gateTrace(20000, 4000, -0.0083217, -0.0033217, 0.0006)
	rng := rand.New(rand.NewPCG(5, 5))
	rec := &signal.Recording{RateHz: 20000, Uneven: true, Channels: even.Channels}
	ramp := func(t float64) float64 { return min(max(t/0.0006+0.5, 0), 1) }
	for i := range gate.Values {
		at := even.At(i) + 20e-6*(rng.Float64()-0.5)
		rec.TimeS = append(rec.TimeS, at)
		gate.Values[i] = ramp(at+0.0083217) - ramp(at+0.0033217)
	}
	v, _, err := ram.GateSpeed(rec, gate)
	if err != nil || math.Abs(v-5) > 1e-9 {
		t.Errorf("speed = %.12f m/s, error %v; want 5", v, err)
	}
}

func TestNoGateTracePanics(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		values := rapid.SliceOfN(rapid.SampledFrom([]float64{0, 1, 5, -5, 0.5, math.NaN(), math.Inf(1), math.MaxFloat64, 1e-300}), 0, 60).Draw(r, "values")
		rec := &signal.Recording{RateHz: 1000, Channels: []signal.Channel{{Name: "g", Values: values, FlagMM: 25}}}
		v, U, err := ram.GateSpeed(rec, &rec.Channels[0])
		if err == nil && (!(v > 0) || !(U > 0)) {
			r.Errorf("no error, but speed %g with uncertainty %g", v, U)
		}
	})
}

func TestEnergy(t *testing.T) {
	// 15.5 kg at 6.0 m/s: 279 J by hand.
	if got := ram.Energy(15.5, 6); got != 279 {
		t.Errorf("energy = %g J, want 279", got)
	}
}

// A ram that rebounds comes back through the gate long after it passed; the
// speed at which it came is that of the first passage.
func TestGateRamComesBack(t *testing.T) {
	rec, g := gateTrace(20000, 4000, -0.01, -0.005, 0)
	alone, err := ram.MeasurePassage(rec, g)
	if err != nil || !math.IsNaN(alone.ReturnedAtS) {
		t.Fatalf("one passage: %+v, %v", alone, err)
	}
	for i := 3000; i < 3400; i++ { // 20 ms, slower than it came
		g.Values[i] = g.Values[850]
	}
	got, err := ram.MeasurePassage(rec, g)
	if err != nil {
		t.Fatal(err)
	}
	if got.SpeedMS != alone.SpeedMS || math.Abs(got.ReturnedAtS-0.1) > 1e-9 {
		t.Errorf("speed %v, back at %v s; want %v, 0.1 s", got.SpeedMS, got.ReturnedAtS, alone.SpeedMS)
	}
}

package chanmap_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/signal"
)

// record makes channels at 20 kHz from functions of the milliseconds since its start.
func record(t0ms, lengthMS float64, of ...func(ms float64) float64) *signal.Recording {
	n := int(lengthMS * 20)
	r := &signal.Recording{TimeS: make([]float64, n)}
	for i := range n {
		r.TimeS[i] = (t0ms + float64(i)/20) / 1000
	}
	for k, f := range of {
		ch := signal.Channel{Name: string(rune('a' + k)), Measures: signal.LinearAcceleration, Values: make([]float64, n)}
		for i := range n {
			ch.Values[i] = f(float64(i) / 20)
		}
		r.Channels = append(r.Channels, ch)
	}
	return r
}

// pulse is a half sine of 100 g for 10 ms from a time on, on an offset, with noise.
func pulse(from, offset, noise float64) func(float64) float64 {
	rng := rand.New(rand.NewPCG(1, 2))
	return func(ms float64) float64 {
		v := offset + noise*rng.NormFloat64()
		if ms >= from && ms < from+10 {
			v += 100 * math.Sin(math.Pi*(ms-from)/10)
		}
		return v
	}
}

// A half sine passes 5 % of its peak asin(0.05)/pi = 1.59 % of its length after
// its start: 0.16 ms of 10. The windows are three quarters of the time until then.
func TestGuessBaseline(t *testing.T) {
	flat := func(float64) float64 { return 3 }
	tests := []struct {
		name     string
		r        *signal.Recording
		min, max float64 // of the proposal; 0: none
		says     string
	}{
		{"quiet start", record(0, 60, pulse(20, 0, 0)), 15, 15.2, "channel a"},
		{"offset and noise", record(0, 60, pulse(20, 7, 0.3)), 15, 15.3, "look at the traces"},
		{"the earliest channel counts", record(0, 60, pulse(20, 0, 0), pulse(8, 0, 0), flat), 6, 6.2, "channel b"},
		{"time zero before the onset", record(-10, 60, pulse(20, 0, 0)), 7.5, 7.5, "time zero"},
		{"begins in the impact", record(0, 60, pulse(0, 0, 0)), 0, 0, "milliseconds at rest before the impact"},
		{"too short a start", record(0, 60, pulse(2, 0, 0)), 0, 0, "2.67 ms at rest"},
		{"nothing happens", record(0, 60, flat), 0, 0, "stands out"},
		{"only noise", record(0, 60, pulse(900, 0, 1)), 0, 0, "stands out"},
		{"gaps", record(0, 60, func(ms float64) float64 { return math.NaN() }), 0, 0, "stands out"},
		{"drifts before the impact", record(0, 60, func(ms float64) float64 { return pulse(20, 0, 0)(ms) + 0.23*ms }), 0, 0, "not at rest"},
		{"no channel", &signal.Recording{}, 0, 0, "no acceleration"},
		{"two samples", record(0, 0.1, flat), 0, 0, "stands out"},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			ms, said := chanmap.GuessBaseline(tc.r)
			if ms < tc.min || ms > tc.max || !strings.Contains(said, tc.says) {
				t.Errorf("%g ms, want %g to %g; %q, want %q in it", ms, tc.min, tc.max, said, tc.says)
			}
			if none := strings.Contains(said, "No baseline_ms is proposed"); none != (ms == 0) || none && !strings.Contains(said, "Set processing.baseline_ms") {
				t.Errorf("%g ms, and it says %q", ms, said)
			}
		})
	}
}

// A tank empties and a gate is passed before contact: neither takes the baseline
// away from a head form at rest.
func TestGuessBaselineLooksAtTheHeadAlone(t *testing.T) {
	for _, q := range []signal.Quantity{signal.Pressure, signal.LightGate, signal.Force} {
		drops := func(ms float64) float64 { return 300 - 200*math.Min(max(ms-2, 0)/10, 1) }
		r := record(0, 60, pulse(20, 0, 0), drops)
		r.Channels[1].Measures = q
		if ms, said := chanmap.GuessBaseline(r); ms < 15 || ms > 15.2 || !strings.Contains(said, "channel a") {
			t.Errorf("%s: %g ms: %s", q, ms, said)
		}
	}
}

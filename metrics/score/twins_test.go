package score_test

import (
	"math"
	"slices"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/score"
	"thudbook/metrics/signal"
)

// spare adds a second channel that reads gain times the first channel of a name.
func (s *shot) spare(m *chanmap.Map, of, name string, gain float64) {
	i := slices.Index(s.names, of)
	values := make([]float64, len(s.values[i]))
	for k, v := range s.values[i] {
		values[k] = gain * v
	}
	s.names, s.values = append(s.names, name), append(s.values, values)
	ch := m.Channels[i]
	ch.Column = name
	m.Channels = append(m.Channels, ch)
}

// A twin that reads more or less by a known share is compared by it, and flagged
// beyond the limit; the results are those of the first channel. The filter is
// linear, so the peaks keep the share exactly.
func TestTwinSignals(t *testing.T) {
	for _, tc := range []struct {
		of       string
		gain, u  float64 // u: expanded uncertainty of both, percent; 0: as the map has it
		measures signal.Quantity
		limit    float64
		flagged  bool
	}{
		{of: "ax", gain: 1.04, measures: signal.LinearAcceleration, limit: 0.05},
		{of: "ax", gain: 0.94, measures: signal.LinearAcceleration, limit: 0.05, flagged: true},
		{of: "ax", gain: 1.06, u: 5, measures: signal.LinearAcceleration, limit: math.Hypot(0.05, 0.05)},
		{of: "ax", gain: 1.08, u: 5, measures: signal.LinearAcceleration, limit: math.Hypot(0.05, 0.05), flagged: true},
		{of: "wy", gain: 1.2, measures: signal.AngularVelocity, limit: 0.05, flagged: true},
	} {
		s, m := newShot(), shotMap()
		plain := scoreText(t, s.csv(), score.Options{Map: shotMap()})
		if tc.u > 0 {
			for i := range m.Channels {
				m.Channels[i].ExpandedUncertaintyPercent = tc.u
			}
		}
		s.spare(m, tc.of, "spare", tc.gain)
		rep := scoreText(t, s.csv(), score.Options{Map: m})
		if rep.Error != nil || len(rep.Twins) != 1 {
			t.Fatalf("%s × %g: %v, twins %+v", tc.of, tc.gain, rep.Error, rep.Twins)
		}
		x := rep.Twins[0]
		if x.Channel != tc.of || x.Twin != "spare" || x.Measures != tc.measures || math.Abs(x.Apart()-(tc.gain-1)) > 2e-4 || math.Abs(x.Limit-tc.limit) > 1e-9 {
			t.Errorf("%s × %g: %+v, %g apart", tc.of, tc.gain, x, x.Apart())
		}
		if got := rep.Has(score.TwinsDisagree); got != tc.flagged {
			t.Errorf("%s × %g is flagged: %v", tc.of, tc.gain, got)
		}
		for name, r := range plain.Results {
			if math.Abs(rep.Results[name].Value-r.Value) > 1e-9*math.Abs(r.Value) {
				t.Errorf("%s is %g beside a twin, %g without", name, rep.Results[name].Value, r.Value)
			}
		}
	}
}

// Without an impact, away from each other, or along a quiet axis nothing is compared.
func TestTwinsThatSayNothing(t *testing.T) {
	for name, change := range map[string]func(*shot, *chanmap.Map){
		"nothing hit": func(s *shot, m *chanmap.Map) {
			s.spare(m, "ax", "spare", 1.5)
			s.cut(0, shotOnset-20)
		},
		"another place": func(s *shot, m *chanmap.Map) {
			s.spare(m, "ax", "spare", 1.5)
			m.Channels[len(m.Channels)-1].PositionMM = [3]float64{0, 50, 0}
		},
		"a quiet axis": func(s *shot, m *chanmap.Map) {
			for k := range s.values[1] {
				s.values[1][k] *= 0.001
			}
			s.spare(m, "ay", "spare", 1.5)
		},
		"no twin": func(*shot, *chanmap.Map) {},
	} {
		s, m := newShot(), shotMap()
		change(s, m)
		if rep := scoreText(t, s.csv(), score.Options{Map: m}); len(rep.Twins) > 0 || rep.Has(score.TwinsDisagree) {
			t.Errorf("%s: %+v", name, rep.Twins)
		}
	}
}

// Two gates: a flag that takes 4 % longer at the second is 1/1.04 of the speed, and
// is flagged; the speed is that of the first.
func TestTwinGates(t *testing.T) {
	for _, tc := range []struct {
		longer  float64
		flagged bool
	}{{0, false}, {0.01, false}, {0.04, true}, {-0.04, true}} {
		s, m := newShot(), shotMap()
		plain := scoreText(t, s.csv(), score.Options{Map: shotMap()})
		s.spare(m, "gate", "gate B", 1)
		first, last := -1, 0
		for k, v := range s.values[6] {
			if v > 2.5 {
				if first < 0 {
					first = k
				}
				last = k
			}
		}
		n := len(s.values) - 1
		for k := range s.values[n] {
			s.values[n][k] = 0.001 * float64(k%7)
			if k >= first && float64(k-first) < float64(last-first+1)*(1+tc.longer) {
				s.values[n][k] += 5
			}
		}
		rep := scoreText(t, s.csv(), score.Options{Map: m})
		if rep.Error != nil || len(rep.Twins) != 1 {
			t.Fatalf("%g longer: %v, twins %+v", tc.longer, rep.Error, rep.Twins)
		}
		x, sample := rep.Twins[0], 1/float64(last-first+1)
		if x.Channel != "gate" || x.Twin != "gate B" || x.Measures != signal.LightGate || math.Abs(x.Apart()-(1/(1+tc.longer)-1)) > sample {
			t.Errorf("%g longer: %+v, %g apart", tc.longer, x, x.Apart())
		}
		if got := rep.Has(score.TwinsDisagree); got != tc.flagged {
			t.Errorf("%g longer, %g apart of at most %g, is flagged: %v", tc.longer, x.Apart(), x.Limit, got)
		}
		if a, b := rep.Results["impact_speed"], plain.Results["impact_speed"]; a.Value != b.Value {
			t.Errorf("the speed is %g, with one gate %g", a.Value, b.Value)
		}
	}
}

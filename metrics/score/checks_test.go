package score_test

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/score"
	"thudbook/metrics/simrig"
)

func flagOn(rep score.Report, code score.FlagCode, channel string) bool {
	return slices.ContainsFunc(rep.Flags, func(f score.Flag) bool { return f.Code == code && f.Channel == channel })
}

// A drift before the impact that would falsify the peak is flagged on its channel; one
// that would not is left alone.
func TestBaselineDrift(t *testing.T) {
	for _, tc := range []struct {
		gPerMS float64
		want   bool
	}{{0.3, true}, {-0.3, true}, {0.01, false}} {
		s := newShot()
		for i := range s.values[1] {
			s.values[1][i] += tc.gPerMS * float64(i) / 20
		}
		rep := scoreText(t, s.csv(), score.Options{Map: shotMap()})
		if got := flagOn(rep, score.BaselineDrift, "ay"); got != tc.want {
			t.Errorf("%g g a millisecond: flagged %v, flags %+v", tc.gPerMS, got, rep.Flags)
		}
		if flagOn(rep, score.BaselineDrift, "ax") {
			t.Errorf("the channel beside it is flagged: %+v", rep.Flags)
		}
	}
}

// The shot's ram has 15 kg and 5 m/s: by momentum and energy it gives a head form of 3
// kg at most 2·5·15/18 = 8.33 m/s. The pulse as it is gives 5.87 m/s (2·A·T/π of the
// resultant of half sines).
func TestVelocityAgainstTheRam(t *testing.T) {
	for _, tc := range []struct {
		gain, mass float64
		want       bool
	}{{1, 15, false}, {1.35, 15, false}, {1.6, 15, true}, {1.6, 0, false}, {2, 0, true}, {0.07, 15, true}, {0.2, 15, false}} {
		s, m := newShot(), shotMap()
		for c := range 3 {
			for i := range s.values[c] {
				s.values[c][i] = 0.5 + tc.gain*(s.values[c][i]-0.5)
			}
		}
		m.Ram.MassKG = tc.mass
		rep := scoreText(t, s.csv(), score.Options{Map: m})
		if got := rep.Has(score.VelocityImplausible); got != tc.want {
			t.Errorf("gain %g, ram of %g kg: %+v, flagged %v", tc.gain, tc.mass, rep.Results["velocity_change"], got)
		}
	}
}

// A single axis or rate with the wrong sign is not to be found out: the report is the
// same but for what the sign itself decides. This says so on purpose.
func TestOneReversedAxisIsNotDecidable(t *testing.T) {
	good := scoreText(t, newShot().csv(), score.Options{Map: shotMap()})
	for c, name := range []string{"ax", "ay", "az", "wx", "wy", "wz"} {
		s := newShot()
		for i := range s.values[c] {
			s.values[c][i] = -s.values[c][i]
		}
		rep := scoreText(t, s.csv(), score.Options{Map: shotMap()})
		if rep.Has(score.ReversedChannel) || len(rep.Flags) > 0 {
			t.Errorf("%s reversed: flags %+v", name, rep.Flags)
		}
		if a, b := good.Results["hic15"].Value, rep.Results["hic15"].Value; math.Abs(a-b) > 1e-9*a {
			t.Errorf("%s reversed: HIC15 %g, before %g", name, b, a)
		}
	}
}

// The rig's loose plug is flagged on its channel, at every place that moves it.
func TestDropoutOfTheRig(t *testing.T) {
	found := 0
	for i, location := range simrig.Locations() {
		for _, name := range []string{"", "ay", "ax", "wy"} {
			rig := simrig.New(simrig.Default(uint64(i + 1)))
			c := simrig.Command{PressureKPa: 138, Location: location.Name}
			if name != "" {
				c.Faults = []simrig.Fault{{Kind: simrig.Dropout, Channel: name}}
			}
			shot, err := rig.Fire(c)
			if err != nil {
				t.Fatal(err)
			}
			var text bytes.Buffer
			if err := simrig.WriteCSV(&text, shot); err != nil {
				t.Fatal(err)
			}
			m := rig.Map()
			rep := scoreText(t, text.String(), score.Options{Map: &m})
			switch {
			case name == "" && len(rep.Flags) > 0:
				t.Errorf("%s, no fault: %+v", location.Name, rep.Flags)
			case name != "" && flagOn(rep, score.Dropout, name):
				found++
			}
		}
	}
	if n := 3 * len(simrig.Locations()); found < n*2/3 {
		t.Errorf("%d of %d loose plugs were flagged, want two thirds: at some places the channel hardly moves", found, n)
	}
}

// Uneven times are resampled when the map asks for it: the class applies again, and
// the results are those of the even record to a percent.
func TestResampled(t *testing.T) {
	even := scoreText(t, newShot().csv(), score.Options{Map: shotMap()})
	m := shotMap()
	m.Processing.ResampleHz = 20000
	rep := scoreText(t, jitter(newShot().csv()), score.Options{Map: m})
	if rep.Error != nil || rep.Process.ResampledHz != 20000 || !rep.Has(score.UnevenSampling) || rep.Has(score.Unfiltered) {
		t.Fatalf("error %v, processing %+v, flags %+v", rep.Error, rep.Process, rep.Flags)
	}
	for name, r := range even.Results {
		// the times of the file are 20 µs late at every third sample, which is what differs
		if got := rep.Results[name]; math.Abs(got.Value-r.Value) > 0.03*r.Value {
			t.Errorf("%s: %g, even %g", name, got.Value, r.Value)
		}
	}
	m.Processing.ResampleHz = 1e9
	if rep := scoreText(t, jitter(newShot().csv()), score.Options{Map: m}); rep.Process.ResampledHz != 0 || !rep.Has(score.Unfiltered) || len(rep.Results) == 0 {
		t.Errorf("a rate far too high: processing %+v, flags %+v", rep.Process, rep.Flags)
	}
}

// Results alone are the same numbers, bit for bit, over and over, also by several at
// a time; the signals are not there.
func TestResultsOnly(t *testing.T) {
	nineText, nineMap := bodyShot(nine())
	for name, in := range map[string]struct {
		text string
		m    *chanmap.Map
	}{
		"plain": {newShot().csv(), shotMap()}, "guessed": {newShot().csv(), nil}, "uneven": {jitter(newShot().csv()), shotMap()},
		"nine": {nineText, nineMap}, "cut short": {strings.TrimSuffix(newShot().csv(), "12\n"), shotMap()}, "unusable": {"t,ax\n0,1\n0,2\n", shotMap()},
	} {
		t.Run(name, func(t *testing.T) {
			want := printed(t, scoreText(t, in.text, score.Options{Map: in.m}))
			for range 3 {
				t.Run("", func(t *testing.T) {
					t.Parallel()
					for range 5 {
						rep := scoreText(t, in.text, score.Options{Map: in.m, ResultsOnly: true})
						if d := rep.Detail; d.Raw != nil || d.Filtered != nil || d.Linear != nil || d.Angular != nil || d.AngularAcceleration != nil {
							t.Error("signals are left in the report")
						}
						if d := cmp.Diff(want, printed(t, rep)); d != "" {
							t.Errorf("(-with signals +results only):\n%s", d)
						}
					}
				})
			}
		})
	}
}

func printed(t *testing.T, rep score.Report) string {
	t.Helper()
	text, err := json.Marshal(rep)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

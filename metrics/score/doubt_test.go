package score_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/score"
)

// motion are the results that rest on the channels of motion and carry an uncertainty.
var motion = []string{"peak_linear_acceleration", "severity_index", "velocity_change", "hic15", "hic36", "clip_3ms",
	"peak_angular_velocity", "peak_angular_acceleration", "bric", "damage", "gambit", "gambit_b", "harm"}

// only fails unless of the results of motion those carry an uncertainty, and a budget,
// that are named, and the others say why not: as lower bounds those of lower.
func only(t *testing.T, rep score.Report, why string, with, lower []string) {
	t.Helper()
	for _, name := range motion {
		r, ok := rep.Results[name]
		_, budget := rep.Detail.Budgets[name]
		switch {
		case !ok:
			t.Errorf("%s is missing", name)
		case slices.Contains(with, name):
			if r.ExpandedUncertainty == nil || strings.Contains(r.Note, why) {
				t.Errorf("%s: %+v, want its uncertainty", name, r)
			}
		case r.ExpandedUncertainty != nil || budget || !strings.Contains(r.Note, why) || strings.Contains(r.Note, "lower bound") != slices.Contains(lower, name):
			t.Errorf("%s = %g, note %q, uncertainty %v, budget %v; want none, and a lower bound: %v", name, r.Value, r.Note, r.ExpandedUncertainty, budget, slices.Contains(lower, name))
		}
	}
	if r := rep.Results["impact_speed"]; r.ExpandedUncertainty == nil {
		t.Error("the gate's speed lost its uncertainty")
	}
	if got := rep.Has(score.UncertaintyUnknown); got != (len(with) < len(motion)) {
		t.Errorf("flag %s: %v", score.UncertaintyUnknown, got)
	}
}

// A baseline window that reaches into the impact spoils all, and is said before all.
func TestBaselineInTheImpact(t *testing.T) {
	m := shotMap()
	m.Processing.BaselineMS = 25 // the impact begins after 20 ms
	rep := scoreText(t, newShot().csv(), score.Options{Map: m})
	if len(rep.Flags) == 0 || rep.Flags[0].Code != score.BaselineInImpact || !strings.Contains(rep.Flags[0].Text, "window of 25 ms") {
		t.Fatalf("flags %+v", rep.Flags)
	}
	for _, code := range []score.FlagCode{score.NoiseFloor, score.BaselineDrift, score.DeadChannel, score.TooLittlePretrigger} {
		if rep.Has(code) {
			t.Errorf("flag %s says of the impact what is meant for the rest before it", code)
		}
	}
	only(t, rep, "the baseline window reaches into the impact", nil, nil)

	// A trigger 6 ms before the impact, and a window of 12 ms.
	s := newShot()
	s.cut(280, shotSamples)
	m.Processing.BaselineMS, m.Channels = 12, m.Channels[:6]
	rep = scoreText(t, s.csv(), score.Options{Map: m})
	if !rep.Has(score.BaselineInImpact) || !rep.Has(score.TooLittlePretrigger) {
		t.Errorf("flags %+v", rep.Flags)
	}
	// Most of the pulse was taken for the offset: the rest behind it is larger than what
	// is left of it.
	early := newShot()
	early.cut(380, shotSamples)
	m.Processing.BaselineMS = 8
	rep = scoreText(t, early.csv(), score.Options{Map: m})
	if rep.Flags[0].Code != score.BaselineInImpact || rep.Has(score.NoiseFloor) || rep.Results["peak_linear_acceleration"].ExpandedUncertainty != nil {
		t.Errorf("a window over most of the pulse: flags %+v", rep.Flags)
	}
	for _, ms := range []float64{3, 5} { // that end before it
		m.Processing.BaselineMS = ms
		if rep = scoreText(t, s.csv(), score.Options{Map: m}); rep.Has(score.BaselineInImpact) {
			t.Errorf("%g ms: flags %+v", ms, rep.Flags)
		}
	}
}

// What clipping hid is in no uncertainty: the values stay, as lower bounds where they
// can only have been lowered.
func TestClippedHasNoUncertainty(t *testing.T) {
	clip := func(channel int, most float64) *shot {
		s := newShot()
		for i, v := range s.values[channel] {
			s.values[channel][i] = min(v, most)
		}
		return s
	}
	whole := scoreText(t, newShot().csv(), score.Options{Map: shotMap()})
	only(t, whole, "saturated", motion, nil)

	rep := scoreText(t, clip(0, 60).csv(), score.Options{Map: shotMap()})
	bounds := []string{"peak_linear_acceleration", "severity_index", "hic15", "hic36", "clip_3ms", "gambit", "gambit_b", "harm"}
	only(t, rep, "channel ax is saturated", []string{"peak_angular_velocity", "peak_angular_acceleration", "bric", "damage"}, bounds)
	for _, name := range bounds {
		if a, b := rep.Results[name].Value, whole.Results[name].Value; a > b {
			t.Errorf("%s = %g is no lower bound of %g", name, a, b)
		}
	}

	rep = scoreText(t, clip(5, 6).csv(), score.Options{Map: shotMap()})
	only(t, rep, "channel wz is saturated", []string{"peak_linear_acceleration", "severity_index", "velocity_change", "hic15", "hic36", "clip_3ms"},
		[]string{"peak_angular_velocity", "bric"})

	// Away from the centre of gravity each linear result takes the rates too.
	m := shotMap()
	for i := range 3 {
		m.Channels[i].PositionMM = [3]float64{0, 0, 40}
	}
	rep = scoreText(t, clip(5, 6).csv(), score.Options{Map: m})
	only(t, rep, "channel wz is saturated", nil, []string{"peak_angular_velocity", "bric"})
	rep = scoreText(t, clip(0, 60).csv(), score.Options{Map: m})
	only(t, rep, "channel ax is saturated", []string{"peak_angular_velocity", "peak_angular_acceleration", "bric", "damage"}, nil)
}

// A record that ends in the pulse: what lies behind its end is in no uncertainty.
func TestCutHasNoUncertainty(t *testing.T) {
	m := shotMap()
	whole := scoreText(t, newShot().csv(), score.Options{Map: m})
	s := newShot()
	s.cut(0, shotOnset+110) // just behind the peak, of 200 samples
	rep := scoreText(t, s.csv(), score.Options{Map: m})
	only(t, rep, "the record ends in the pulse", nil, motion)
	for _, name := range append([]string{"impact_duration"}, motion...) {
		r := rep.Results[name]
		if !strings.HasSuffix(r.Note, "lower bound: the record ends in the pulse") || r.Value > 1.01*whole.Results[name].Value {
			t.Errorf("%s = %g, note %q; the whole record gives %g", name, r.Value, r.Note, whole.Results[name].Value)
		}
	}

	// At a tenth of the peak only what is summed over the pulse is cut.
	s = newShot()
	s.cut(0, shotOnset+193)
	rep = scoreText(t, s.csv(), score.Options{Map: m})
	sums := []string{"severity_index", "velocity_change"}
	only(t, rep, "the record ends in the pulse", slices.DeleteFunc(slices.Clone(motion), func(n string) bool { return slices.Contains(sums, n) }), sums)
	if a, b := rep.Results["peak_linear_acceleration"], whole.Results["peak_linear_acceleration"]; math.Abs(a.Value-b.Value) > 1e-6*b.Value {
		t.Errorf("peak %g, of the whole record %g", a.Value, b.Value)
	}
}

// A unit of the file that is not the map's is said with both and the factor between.
func TestUnitConflict(t *testing.T) {
	head, rows, _ := strings.Cut(newShot().csv(), "\n")
	text := func(units string) string { return head + "\n" + units + "\n" + rows }
	flags := func(units string, change func(*chanmap.Map)) (found []score.Flag) {
		t.Helper()
		m := shotMap()
		change(m)
		rep := scoreText(t, text(units), score.Options{Map: m})
		if rep.Error != nil || rep.Has(score.MapUnsure) {
			t.Fatalf("error %v, flags %+v", rep.Error, rep.Flags)
		}
		for _, f := range rep.Flags {
			if f.Code == score.UnitConflict {
				found = append(found, f)
			}
		}
		return found
	}
	const units = "s,g,g,g,rad/s,rad/s,rad/s,V"
	if got := flags(units, func(*chanmap.Map) {}); len(got) > 0 {
		t.Errorf("units that agree: %+v", got)
	}
	got := flags(units, func(m *chanmap.Map) { m.Channels[4].Unit = "deg/s" })
	if len(got) != 1 || got[0].Channel != "wy" || got[0].Text != "the file says that wy is in rad/s, the channel map says deg/s; the map's was used; if the file is right, the values have to be multiplied by 57.3" {
		t.Errorf("rad/s and deg/s: %+v", got)
	}
	got = flags("ms"+units[1:], func(*chanmap.Map) {})
	if len(got) != 1 || got[0].Channel != "t" || !strings.Contains(got[0].Text, "t is in ms, the channel map says s") || !strings.HasSuffix(got[0].Text, "by 0.001") {
		t.Errorf("times in ms and s: %+v", got)
	}
	got = flags("s,V"+units[3:], func(*chanmap.Map) {})
	if len(got) != 1 || got[0].Channel != "ax" || strings.Contains(got[0].Text, "multiplied") {
		t.Errorf("V and g: %+v", got)
	}
}

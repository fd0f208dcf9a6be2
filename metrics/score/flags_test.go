package score_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/impact"
	"thudbook/metrics/score"
)

// shot is an invented acquisition: seven channels and a gate at 20 kHz, 20 ms
// before and 60 ms after the trigger, a pulse of 10 ms.
type shot struct {
	names  []string
	values [][]float64
	startS float64
	rateHz float64
}

const (
	shotSamples = 1600
	shotOnset   = 400
)

func newShot() *shot {
	s := &shot{names: []string{"ax", "ay", "az", "wx", "wy", "wz", "gate"}, startS: -0.02, rateHz: 20000}
	r := rand.New(rand.NewPCG(7, 7))
	gains := []float64{80, 40, -25, 8, -25, 12}
	for c, gain := range gains {
		v := make([]float64, shotSamples)
		for i := range v {
			x := float64(i-shotOnset) / 200
			noise := 0.3
			if c < 3 {
				if x > 0 && x < 1 {
					v[i] = gain * math.Sin(math.Pi*x)
				}
			} else {
				noise = 0.03
				if x > 0 {
					v[i] = gain * (1 - math.Exp(-x*x)) * math.Exp(-x/4)
				}
			}
			v[i] += noise*r.NormFloat64() + 0.5
		}
		s.values = append(s.values, v)
	}
	gate := make([]float64, shotSamples)
	for i := range gate {
		gate[i] = 0.02 * r.NormFloat64()
		if i >= 150 && i < 250 { // 100 samples of 50 µs: 25 mm in 5 ms
			gate[i] += 5
		}
	}
	s.values = append(s.values, gate)
	return s
}

// csv prints the shot as its acquisition would.
func (s *shot) csv() string {
	b := []byte("t," + strings.Join(s.names, ",") + "\n")
	for i := range s.values[0] {
		b = strconv.AppendFloat(b, s.startS+float64(i)/s.rateHz, 'f', 5, 64)
		for _, v := range s.values {
			b = strconv.AppendFloat(append(b, ','), v[i], 'g', 5, 64)
		}
		b = append(b, '\n')
	}
	return string(b)
}

// shotMap binds the shot's columns.
func shotMap() *chanmap.Map {
	m := &chanmap.Map{Name: "invented rig", Time: chanmap.Time{Column: "t", Unit: "s"},
		Processing: chanmap.Processing{BaselineMS: 15}, Ram: chanmap.Ram{MassKG: 15}}
	for _, axis := range []string{"x", "y", "z"} {
		m.Channels = append(m.Channels, chanmap.Channel{Column: "a" + axis, Measures: "linear acceleration", Axis: axis,
			Unit: "g", CFC: 1000, FullScale: 500, ExpandedUncertaintyPercent: 2})
	}
	for _, axis := range []string{"x", "y", "z"} {
		m.Channels = append(m.Channels, chanmap.Channel{Column: "w" + axis, Measures: "angular velocity", Axis: axis,
			Unit: "rad/s", CFC: 180, FullScale: 140, ExpandedUncertaintyPercent: 3})
	}
	m.Channels = append(m.Channels, chanmap.Channel{Column: "gate", Measures: "light gate", Unit: "V", FlagMM: 25})
	return m
}

func scoreText(t testing.TB, text string, o score.Options) score.Report {
	t.Helper()
	rep := score.Score(t.Context(), strings.NewReader(text), o)
	checkReport(t, rep)
	return rep
}

// checkReport holds for every report, whatever the input.
func checkReport(t testing.TB, rep score.Report) {
	t.Helper()
	if rep.Error != nil && rep.Error.Code == score.Internal {
		t.Fatalf("internal error: %v", rep.Detail.Cause)
	}
	text, err := json.Marshal(rep)
	if err != nil {
		t.Fatalf("the report cannot be printed: %v", err)
	}
	if strings.Contains(string(text), "\n") {
		t.Fatal("the report takes more than one line")
	}
	known := map[score.FlagCode]bool{}
	for _, m := range score.FlagTable() {
		known[m.Code] = true
	}
	for _, f := range rep.Flags {
		if !known[f.Code] || f.Text == "" {
			t.Fatalf("flag %+v is not in the table or says nothing", f)
		}
	}
	if rep.Error != nil && (rep.Error.What == "" || rep.Error.Fix == "") {
		t.Fatalf("error without sentence or fix: %+v", rep.Error)
	}
	for name, r := range rep.Results {
		if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || r.Value < 0 {
			t.Fatalf("%s = %g", name, r.Value)
		}
	}
	if len(rep.SHA256) != 64 {
		t.Fatalf("digest %q", rep.SHA256)
	}
}

// contract lists every result of a full set of channels.
var contract = []string{
	"bric", "clip_3ms", "clip_3ms_cumulative", "damage", "dwell_150g", "dwell_200g", "gambit", "gambit_b", "harm", "hic15", "hic36",
	"impact_duration", "impact_speed", "peak_angular_acceleration", "peak_angular_velocity", "peak_linear_acceleration",
	"pulse_width_10_percent", "pulse_width_50_percent", "ram_energy", "ric36", "rise_rate", "severity_index", "time_to_peak", "velocity_change",
}

func names(rep score.Report) []string {
	out := make([]string, 0, len(rep.Results))
	for n := range rep.Results {
		out = append(out, n)
	}
	slices.Sort(out)
	return out
}

// A good shot has every metric, an uncertainty on most, and no flag.
func TestGoodShot(t *testing.T) {
	rep := scoreText(t, newShot().csv(), score.Options{Name: "good.csv", Map: shotMap()})
	if rep.Error != nil || len(rep.Flags) > 0 {
		t.Fatalf("error %v, flags %+v", rep.Error, rep.Flags)
	}
	if got := names(rep); !slices.Equal(got, contract) {
		t.Errorf("results %v, want %v", got, contract)
	}
	for _, name := range contract {
		r := rep.Results[name]
		if got := r.ExpandedUncertainty != nil; got == slices.Contains(withoutUncertainty, name) {
			t.Errorf("%s: uncertainty given: %v", name, got)
		}
	}
	// each axis is known to 2 % (k = 2): the peak's uncertainty lies between
	// 2 %/√3 (three equal axes) and 2 % (one axis); the severity index has 2.5 times it
	p := rep.Results["peak_linear_acceleration"]
	if share := *p.ExpandedUncertainty / p.Value; share < 0.02/math.Sqrt(3) || share > 0.02 {
		t.Errorf("peak %g ± %g", p.Value, *p.ExpandedUncertainty)
	}
	s := rep.Results["severity_index"]
	if share := *s.ExpandedUncertainty / s.Value; share < 0.05/math.Sqrt(3) || share > 0.05 {
		t.Errorf("severity index %g ± %g", s.Value, *s.ExpandedUncertainty)
	}
	// 25 mm in 100 samples of 50 µs: 5 m/s; 15 kg: 187.5 J
	if v := rep.Results["impact_speed"]; math.Abs(v.Value-5) > 0.03 {
		t.Errorf("speed %+v, want 5 m/s", v)
	}
	if e := rep.Results["ram_energy"]; math.Abs(e.Value-187.5) > 2.5 {
		t.Errorf("energy %+v, want 187.5 J", e)
	}
	if rep.Engine != score.EngineVersion || rep.File != "good.csv" || rep.Map.Name != "invented rig" || rep.Record.Samples != shotSamples {
		t.Errorf("report %+v", rep)
	}
	if d := rep.Detail; d.Raw == nil || d.Filtered == nil || len(d.Linear) != shotSamples || len(d.AngularAcceleration) != shotSamples {
		t.Error("the detail for screens is incomplete")
	}
}

// Each defect raises its flag, on its channel, and no metric that it does not touch
// is lost.
func TestFlags(t *testing.T) {
	for name, tc := range map[string]struct {
		code    score.FlagCode
		channel string
		shot    func(*shot)
		mapping func(*chanmap.Map)
		without []string
	}{
		"saturated": {code: score.Saturated, channel: "ax", mapping: func(m *chanmap.Map) { m.Channels[0].FullScale = 60 },
			shot: func(s *shot) {
				for i, v := range s.values[0] {
					s.values[0][i] = math.Min(v, 60)
				}
			}},
		"flat top without full scale": {code: score.Saturated, channel: "ax", mapping: func(m *chanmap.Map) { m.Channels[0].FullScale = 0 },
			shot: func(s *shot) {
				for i, v := range s.values[0] {
					s.values[0][i] = math.Min(v, 60)
				}
			}},
		"constant": {code: score.DeadChannel, channel: "wy", shot: func(s *shot) {
			for i := range s.values[4] {
				s.values[4][i] = 0.25
			}
		}},
		"noise only": {code: score.DeadChannel, channel: "az", shot: func(s *shot) {
			for i := range s.values[2] {
				s.values[2][i] = 0.2 * math.Sin(float64(i*i))
			}
		}},
		"stuck": {code: score.Dropout, channel: "ay", shot: func(s *shot) {
			for i := 450; i < 490; i++ {
				s.values[1][i] = 3
			}
		}},
		"reversed spare": {code: score.ReversedChannel, channel: "spare",
			shot: func(s *shot) {
				spare := make([]float64, shotSamples)
				for i, v := range s.values[0] {
					spare[i] = -v
				}
				s.names, s.values = append(s.names, "spare"), append(s.values, spare)
			},
			mapping: func(m *chanmap.Map) {
				spare := m.Channels[0]
				spare.Column = "spare"
				m.Channels = append(m.Channels, spare)
			}},
		"noise": {code: score.NoiseFloor, channel: "ax", shot: func(s *shot) {
			for i := range s.values[0] {
				s.values[0][i] += 6 * math.Sin(2*math.Pi*400*float64(i)/20000)
			}
		}},
		"slow":         {code: score.RateTooLow, channel: "ax", shot: func(s *shot) { s.rateHz, s.startS = 8000, -0.05 }},
		"far too slow": {code: score.RateTooLow, channel: "ax", shot: func(s *shot) { s.rateHz, s.startS = 2000, -0.2 }},
		"uneven": {code: score.UnevenSampling, shot: func(s *shot) {
			s.names = append([]string{"ignored"}, s.names...)
			s.values = append([][]float64{s.values[6]}, s.values...)
		}, without: []string{"damage", "gambit", "peak_angular_acceleration"}},
		"no class":       {code: score.Unfiltered, channel: "ay", mapping: func(m *chanmap.Map) { m.Channels[1].CFC = 0 }},
		"no baseline":    {code: score.NoBaseline, mapping: func(m *chanmap.Map) { m.Processing.BaselineMS = 0 }},
		"long baseline":  {code: score.BaselineInImpact, mapping: func(m *chanmap.Map) { m.Processing.BaselineMS = 25 }},
		"late trigger":   {code: score.TooLittlePretrigger, shot: func(s *shot) { s.cut(300, shotSamples) }, mapping: func(m *chanmap.Map) { m.Processing.BaselineMS = 3 }, without: []string{"impact_speed", "ram_energy"}},
		"ends early":     {code: score.NoReturnBelow4g, shot: func(s *shot) { s.cut(0, shotOnset+100) }, without: []string{"pulse_width_10_percent", "pulse_width_50_percent"}},
		"nothing hit":    {code: score.NoImpact, shot: func(s *shot) { s.cut(0, shotOnset-20) }, without: []string{"severity_index", "impact_duration", "velocity_change"}},
		"no gate signal": {code: score.SpeedUnknown, channel: "gate", shot: func(s *shot) { clear(s.values[6]) }, without: []string{"impact_speed", "ram_energy"}},
		"two axes":       {code: score.IncompleteTriad, channel: "ax", mapping: func(m *chanmap.Map) { m.Channels = slices.Delete(m.Channels, 1, 2) }},
		"away, no rates": {code: score.PositionNotCorrected, channel: "ax", mapping: func(m *chanmap.Map) {
			m.Channels[0].PositionMM = [3]float64{10, 0, 0}
			m.Channels = slices.Delete(m.Channels, 3, 6)
		}, without: []string{"bric", "damage", "gambit", "peak_angular_acceleration", "peak_angular_velocity"}},
		"no uncertainty": {code: score.UncertaintyUnknown, channel: "wz", mapping: func(m *chanmap.Map) { m.Channels[5].ExpandedUncertaintyPercent = 0 }},
	} {
		t.Run(name, func(t *testing.T) {
			s, m := newShot(), shotMap()
			if tc.shot != nil {
				tc.shot(s)
			}
			if tc.mapping != nil {
				tc.mapping(m)
			}
			text := s.csv()
			if name == "uneven" {
				text = jitter(text)
			}
			rep := scoreText(t, text, score.Options{Map: m})
			if rep.Error != nil {
				t.Fatal(rep.Error)
			}
			if !slices.ContainsFunc(rep.Flags, func(f score.Flag) bool { return f.Code == tc.code && f.Channel == tc.channel }) {
				t.Errorf("no flag %s on channel %q among %+v", tc.code, tc.channel, rep.Flags)
			}
			want := contractWithout(tc.without)
			if got := names(rep); !slices.Equal(got, want) {
				t.Errorf("results %v, want %v", got, want)
			}
		})
	}
}

// cut keeps samples from..to.
func (s *shot) cut(from, to int) {
	for c := range s.values {
		s.values[c] = s.values[c][from:to]
	}
	s.startS += float64(from) / s.rateHz
}

// jitter makes the times of a file uneven: every third is printed 20 µs late.
func jitter(text string) string {
	lines := strings.SplitAfter(text, "\n")
	for i := range lines {
		at, rest, ok := strings.Cut(lines[i], ",")
		var v float64
		if _, err := fmt.Sscan(at, &v); ok && err == nil && i%3 == 0 {
			lines[i] = fmt.Sprintf("%.5f,%s", v+2e-5, rest)
		}
	}
	return strings.Join(lines, "")
}

// A typed speed is used and marked when no gate gives one; a measured one wins.
func TestTypedSpeed(t *testing.T) {
	s, m := newShot(), shotMap()
	typed := 5.5
	rep := scoreText(t, s.csv(), score.Options{Map: m, TypedSpeedMS: &typed})
	if v := rep.Results["impact_speed"].Value; math.Abs(v-5) > 0.03 || !rep.Has(score.SpeedMismatch) || rep.Has(score.Manual) {
		t.Errorf("speed %g, flags %+v: want the gate's, and the mismatch", v, rep.Flags)
	}
	m.Channels = m.Channels[:6]
	rep = scoreText(t, s.csv(), score.Options{Map: m, TypedSpeedMS: &typed})
	v := rep.Results["impact_speed"]
	if v.Value != typed || v.ExpandedUncertainty != nil || !rep.Has(score.Manual) || !rep.Has(score.UncertaintyUnknown) {
		t.Errorf("speed %+v, flags %+v: want the typed one, marked", v, rep.Flags)
	}
	for _, f := range rep.Flags {
		if strings.Contains(f.Text, "impact_speed") {
			t.Errorf("the flag %s has a name that only programs know: %q", f.Code, f.Text)
		}
	}
	if e := rep.Results["ram_energy"].Value; math.Abs(e-0.5*15*5.5*5.5) > 1e-9 {
		t.Errorf("energy %g J of 15 kg at 5.5 m/s", e)
	}
	bad := math.NaN()
	if rep = scoreText(t, s.csv(), score.Options{Map: m, TypedSpeedMS: &bad}); len(rep.Results) != len(contract)-2 {
		t.Errorf("a typed NaN gives %v", names(rep))
	}
}

// Without a map the guess is used, shown and flagged.
func TestGuessedMap(t *testing.T) {
	rep := scoreText(t, newShot().csv(), score.Options{})
	if rep.Error != nil || !rep.Has(score.MapGuessed) || rep.Map == nil || len(rep.Map.Channels) < 6 {
		t.Fatalf("error %v, flags %+v, map %+v", rep.Error, rep.Flags, rep.Map)
	}
	if rep.Map.Processing.BaselineMS != 15 || !rep.Has(score.MapUnsure) {
		t.Errorf("baseline %g ms guessed, want 15, flags %+v", rep.Map.Processing.BaselineMS, rep.Flags)
	}
	mapped := scoreText(t, newShot().csv(), score.Options{Map: shotMap()})
	a, b := rep.Results["hic15"].Value, mapped.Results["hic15"].Value
	if math.Abs(a-b) > 1e-9*b {
		t.Errorf("HIC15 %g by the guess, %g by the map", a, b)
	}
}

func TestFlagTable(t *testing.T) {
	seen := map[score.FlagCode]bool{}
	for _, m := range score.FlagTable() {
		if seen[m.Code] || m.Code == "" || !strings.HasSuffix(m.Meaning, ".") || !strings.HasSuffix(m.Action, ".") {
			t.Errorf("row %+v is doubled or not a sentence", m)
		}
		seen[m.Code] = true
	}
}

// Results name a definition only if it exists.
func TestDefinitionsOfResults(t *testing.T) {
	ids := map[string]bool{}
	for _, d := range impact.Definitions() {
		ids[d.ID] = true
	}
	rep := scoreText(t, newShot().csv(), score.Options{Map: shotMap()})
	cited := 0
	for name, r := range rep.Results {
		if r.Definition != "" {
			cited++
			if !ids[r.Definition] {
				t.Errorf("%s cites %q, which is no definition", name, r.Definition)
			}
		}
	}
	if cited < 8 {
		t.Errorf("only %d results cite a definition", cited)
	}
}

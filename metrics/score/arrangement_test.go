package score_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/score"
)

// body is a rigid head form that is struck at rest; its motion is known in closed
// form: acceleration of the centre of gravity in m/s², angular velocity in rad/s,
// angular acceleration in rad/s², along head axes.
func body(t float64) (a0, w, alpha [3]float64) {
	if t < 0 {
		return a0, w, alpha
	}
	const rise = 0.012
	ramp, slope := 1.0, 0.0
	if x := t / rise; x < 1 { // x³(10 − 15x + 6x²), smooth to the second derivative
		ramp, slope = x*x*x*(10-15*x+6*x*x), 30*x*x*(1-x)*(1-x)/rise
		bump := 64 * x * x * x * (1 - x) * (1 - x) * (1 - x)
		a0 = [3]float64{700 * bump, -450 * bump * (1 - 0.3*x), 300 * bump}
	}
	decay := math.Exp(-t * 8)
	for k, size := range [3]float64{22, -30, 17} {
		f := []float64{60, 40, 75}[k]
		s, c := math.Sincos(f * t)
		u, du := 1+0.4*s, 0.4*f*c
		w[k] = size * ramp * u * decay
		alpha[k] = size * decay * (slope*u + ramp*du - 8*ramp*u)
	}
	return a0, w, alpha
}

// bodySensor is one column of a file of the body's motion.
type bodySensor struct {
	column, measures, axis string
	position               [3]float64 // mm
	feels                  [3]float64 // where it really is; 0: at position
	gain                   float64    // 0: 1
}

func (s bodySensor) feel(t float64) float64 {
	a, w, alpha := body(t)
	k := strings.Index("xyz", s.axis)
	gain := s.gain
	if gain == 0 {
		gain = 1
	}
	if s.measures == "angular velocity" {
		return gain * w[k]
	}
	place := s.position
	if s.feels != ([3]float64{}) {
		place = s.feels
	}
	var r [3]float64
	for c := range r {
		r[c] = place[c] / 1000
	}
	cross := func(a, b [3]float64) [3]float64 {
		return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
	}
	return gain * (a[k] + cross(alpha, r)[k] + cross(w, cross(w, r))[k]) / 9.80665
}

// bodyShot is the file and the map of a set of sensors, 2,000 samples at 20 kHz.
func bodyShot(sensors []bodySensor) (text string, m *chanmap.Map) {
	m = &chanmap.Map{Name: "struck body", Time: chanmap.Time{Column: "t", Unit: "s"}, Processing: chanmap.Processing{BaselineMS: 15}}
	b := []byte("t")
	for _, s := range sensors {
		b = append(b, ","+s.column...)
		unit, class := "g", 1000
		if s.measures == "angular velocity" {
			unit = "rad/s"
		}
		m.Channels = append(m.Channels, chanmap.Channel{Column: s.column, Measures: s.measures, Axis: s.axis, Unit: unit, CFC: class,
			ExpandedUncertaintyPercent: 2, PositionMM: s.position})
	}
	r := rand.New(rand.NewPCG(8, 8))
	for i := range 2000 {
		t := float64(i-400) / 20000
		b = strconv.AppendFloat(append(b, '\n'), t, 'f', 5, 64)
		for _, s := range sensors {
			b = strconv.AppendFloat(append(b, ','), s.feel(t)+0.002*r.NormFloat64(), 'f', 5, 64)
		}
	}
	return string(append(b, '\n')), m
}

// nine is a 3-2-2-2 arrangement whose centre lies off the centre of gravity.
func nine() (out []bodySensor) {
	c := [3]float64{4, -6, 9}
	for arm, d := range [4][3]float64{{}, {-70, 0, 0}, {0, 55, 0}, {0, 0, -60}} {
		for k, axis := range []string{"x", "y", "z"} {
			if arm == 0 || k != arm-1 {
				out = append(out, bodySensor{column: fmt.Sprintf("a%s%d", axis, arm), measures: "linear acceleration", axis: axis,
					position: [3]float64{c[0] + d[0], c[1] + d[1], c[2] + d[2]}})
			}
		}
	}
	return out
}

// block is three linear accelerometers at a place, and three angular rates.
func block(at [3]float64) (out []bodySensor) {
	for _, axis := range []string{"x", "y", "z"} {
		out = append(out, bodySensor{column: "a" + axis, measures: "linear acceleration", axis: axis, position: at},
			bodySensor{column: "w" + axis, measures: "angular velocity", axis: axis})
	}
	return out
}

// Each arrangement finds the peaks of the closed form. What the filter of class 1000
// takes off these peaks and the noise adds is below 0.5 %.
func TestArrangementsOnAKnownMotion(t *testing.T) {
	var peakA, peakW, peakAlpha float64
	var largest [3]float64
	length := func(v [3]float64) float64 { return math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2]) }
	for i := range 160_000 {
		a, w, alpha := body(float64(i) / 2e6)
		peakA, peakW, peakAlpha = max(peakA, length(a)/9.80665), max(peakW, length(w)), max(peakAlpha, length(alpha))
		for k := range largest {
			largest[k] = max(largest[k], math.Abs(w[k]))
		}
	}
	// Takhounts et al. 2013: critical rates 66.25, 56.45 and 42.87 rad/s (not confirmed against print)
	bric := length([3]float64{largest[0] / 66.25, largest[1] / 56.45, largest[2] / 42.87})
	var damage float64
	for name, sensors := range map[string][]bodySensor{
		"at the centre": block([3]float64{}), "off the centre": block([3]float64{-30, 12, 44}), "nine": nine(),
	} {
		text, m := bodyShot(sensors)
		rep := scoreText(t, text, score.Options{Map: m})
		if rep.Error != nil || rep.Process.MovedToCG != (name != "at the centre") {
			t.Fatalf("%s: error %v, moved %v", name, rep.Error, rep.Process.MovedToCG)
		}
		for _, f := range rep.Flags {
			t.Errorf("%s: flag %+v", name, f)
		}
		for metric, want := range map[string]float64{"peak_linear_acceleration": peakA, "peak_angular_velocity": peakW, "peak_angular_acceleration": peakAlpha, "bric": bric} {
			r := rep.Results[metric]
			if math.Abs(r.Value-want) > 0.005*want {
				t.Errorf("%s: %s %g, closed form %g", name, metric, r.Value, want)
			}
			if r.ExpandedUncertainty == nil || *r.ExpandedUncertainty < 0.005*want || *r.ExpandedUncertainty > 0.08*want {
				t.Errorf("%s: %s %+v carries no sensible uncertainty", name, metric, r)
			}
		}
		if damage == 0 {
			damage = rep.Results["damage"].Value
		}
		if v := rep.Results["damage"].Value; math.Abs(v-damage) > 0.005*damage || v == 0 {
			t.Errorf("%s: DAMAGE %g, by another arrangement %g", name, v, damage)
		}
	}
}

// A reversed or exchanged cable of the nine is named.
func TestNineNamesTheMistake(t *testing.T) {
	for _, tc := range []struct {
		code    score.FlagCode
		channel string
		change  func([]bodySensor)
	}{
		{score.ReversedChannel, "az2", func(s []bodySensor) { find(s, "az2").gain = -1 }},
		{score.ReversedChannel, "ax0", func(s []bodySensor) { find(s, "ax0").gain = -1 }},
		{score.SwappedChannels, "ay1", func(s []bodySensor) {
			a, b := find(s, "ay1"), find(s, "ay3")
			a.feels, b.feels = b.position, a.position // the map believes the names
		}},
		{score.NotOneBody, "", func(s []bodySensor) { find(s, "ay1").gain, find(s, "ax3").gain = 1.7, 0.4 }},
	} {
		s := nine()
		tc.change(s)
		text, m := bodyShot(s)
		rep := scoreText(t, text, score.Options{Map: m})
		found := false
		for _, f := range rep.Flags {
			found = found || f.Code == tc.code && f.Channel == tc.channel
		}
		if !found {
			t.Errorf("no flag %s on %q: %+v", tc.code, tc.channel, rep.Flags)
		}
	}
}

func find(s []bodySensor, column string) *bodySensor {
	for i := range s {
		if s[i].column == column {
			return &s[i]
		}
	}
	panic(column)
}

// One of the nine unreadable costs what rests on it and the angular metrics; the
// others stay. Without a stated uncertainty the angular results carry none.
func TestNineWithAFault(t *testing.T) {
	text, m := bodyShot(nine())
	lines := strings.SplitAfter(text, "\n")
	cells := strings.Split(lines[900], ",")
	cells[4] = "oops" // the first on an arm
	lines[900] = strings.Join(cells, ",")
	rep := scoreText(t, strings.Join(lines, ""), score.Options{Map: m})
	if _, ok := rep.Results["peak_angular_acceleration"]; ok || rep.Error == nil || !rep.Has(score.PositionNotCorrected) {
		t.Errorf("error %v, results %v, flags %+v", rep.Error, names(rep), rep.Flags)
	}
	if _, ok := rep.Results["peak_linear_acceleration"]; !ok {
		t.Error("the central accelerometers can be read, but give no peak")
	}
	m.Channels[5].ExpandedUncertaintyPercent = 0
	rep = scoreText(t, text, score.Options{Map: m})
	if r := rep.Results["peak_angular_acceleration"]; r.Value == 0 || r.ExpandedUncertainty != nil || !rep.Has(score.UncertaintyUnknown) {
		t.Errorf("%+v, flags %+v", r, rep.Flags)
	}
}

// The propagated uncertainty of the nine agrees with Monte Carlo (JCGM 101): 150
// draws give the standard deviation to 5.8 %.
func TestNineUncertaintyByMonteCarlo(t *testing.T) {
	text, m := bodyShot(nine())
	rep := scoreText(t, text, score.Options{Map: m})
	r := rand.New(rand.NewPCG(5, 6))
	drawn := map[string][]float64{}
	for range 150 {
		s := nine()
		for i := range s {
			s[i].gain = 1 + 0.01*r.NormFloat64()
		}
		text, m := bodyShot(s)
		got := scoreText(t, text, score.Options{Map: m, ResultsOnly: true})
		for _, name := range []string{"peak_angular_velocity", "peak_angular_acceleration", "bric", "damage"} {
			drawn[name] = append(drawn[name], got.Results[name].Value)
		}
	}
	for name, v := range drawn {
		want := 2 * deviation(v)
		if got := *rep.Results[name].ExpandedUncertainty; math.Abs(got-want) > 0.18*want {
			t.Errorf("%s: expanded uncertainty %g propagated, %g by Monte Carlo", name, got, want)
		}
	}
}

func deviation(v []float64) float64 {
	mean, sum := 0.0, 0.0
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sum += (x - mean) * (x - mean)
	}
	return math.Sqrt(sum / float64(len(v)-1))
}

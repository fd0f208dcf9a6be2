package score_test

import (
	"bytes"
	"fmt"
	"math"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/score"
)

// Nothing is allocated for a sample: 20,000 more rows of seven columns cost less
// than one allocation in a hundred rows (columns that grow, and blocks of the file).
func TestAllocationsDoNotFollowSamples(t *testing.T) {
	text := func(n int) []byte {
		var b bytes.Buffer
		b.WriteString("t,ax,ay,az,wx,wy,wz\n")
		for i := range n {
			s, a := float64(i)/20000, 0.0
			if s > 0.02 && s < 0.03 {
				a = math.Sin(math.Pi * (s - 0.02) / 0.01)
			}
			fmt.Fprintf(&b, "%.5f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f\n", s, 100*a, 20*a, -10*a, 20*a, 5*a, -9*a)
		}
		return b.Bytes()
	}
	m := &chanmap.Map{Name: "seven"}
	m.Time.Column, m.Time.Unit = "t", "s"
	m.Processing.BaselineMS = 10
	for _, c := range []struct{ column, measures, unit string }{
		{"ax", "linear acceleration", "g"}, {"ay", "linear acceleration", "g"}, {"az", "linear acceleration", "g"},
		{"wx", "angular velocity", "rad/s"}, {"wy", "angular velocity", "rad/s"}, {"wz", "angular velocity", "rad/s"},
	} {
		m.Channels = append(m.Channels, chanmap.Channel{Column: c.column, Measures: c.measures, Axis: c.column[1:], Unit: c.unit, CFC: 1000})
	}
	count := func(b []byte) float64 {
		return testing.AllocsPerRun(3, func() {
			if rep := score.Score(t.Context(), bytes.NewReader(b), score.Options{Map: m, ResultsOnly: true}); rep.Error != nil || len(rep.Results) < 15 {
				t.Fatalf("%d results, %v", len(rep.Results), rep.Error)
			}
		})
	}
	short, long := count(text(2000)), count(text(22000))
	if long-short > 200 {
		t.Errorf("%g allocations for 2,000 rows, %g for 22,000", short, long)
	}
	t.Logf("%g and %g allocations", short, long)
}

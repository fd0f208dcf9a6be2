package score_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/score"
)

// A record of nothing but noise has values, but no uncertainty that would make
// them look well measured.
func TestNoiseHasNoUncertainty(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var b strings.Builder
	fmt.Fprintln(&b, "t,ax,ay,az")
	for i := range 2000 {
		fmt.Fprintf(&b, "%.5f,%.4f,%.4f,%.4f\n", float64(i)/20000, 0.08*rng.NormFloat64(), 0.08*rng.NormFloat64(), 0.08*rng.NormFloat64())
	}
	m := &chanmap.Map{Time: chanmap.Time{Column: "t", Unit: "s"}, Processing: chanmap.Processing{BaselineMS: 15}}
	for _, axis := range []string{"x", "y", "z"} {
		m.Channels = append(m.Channels, chanmap.Channel{Column: "a" + axis, Measures: "linear acceleration", Axis: axis, Unit: "g", CFC: 1000, ExpandedUncertaintyPercent: 2})
	}
	rep := score.Score(t.Context(), strings.NewReader(b.String()), score.Options{Name: "noise.csv", Map: m})
	if rep.Error != nil || !rep.Has(score.NoImpact) || !rep.Has(score.UncertaintyUnknown) {
		t.Fatalf("error %v, flags %+v", rep.Error, rep.Flags)
	}
	if len(rep.Results) == 0 {
		t.Fatal("no results")
	}
	for name, r := range rep.Results {
		if r.ExpandedUncertainty != nil {
			t.Errorf("%s = %g ± %g, but it is noise", name, r.Value, *r.ExpandedUncertainty)
		}
	}
}

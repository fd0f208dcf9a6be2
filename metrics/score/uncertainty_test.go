package score_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"thudbook/metrics/gum"
	"thudbook/metrics/score"
)

// tolerance of the comparison with Monte Carlo, of the expanded uncertainty: 300 draws
// give the standard deviation to 4.1 % (one standard error).
const monteCarloTolerance = 0.13

// The whole way from the file to the metrics, filter included, agrees with Monte Carlo
// after JCGM 101: draw sensitivities, shares of other axes, offsets that move between
// baseline and impact, noise and the flag's width; score the files; compare.
func TestBudgetByMonteCarlo(t *testing.T) {
	const sensitivity, cross, flag = 0.01, 3.0, 0.004 // standard; limit in percent; standard
	m := shotMap()
	for i := range m.Channels {
		if m.Channels[i].Axis != "" {
			m.Channels[i].CrossAxisPercent = cross
			m.Channels[i].ExpandedUncertaintyPercent = 200 * sensitivity
		}
	}
	m.Channels[6].ExpandedUncertaintyPercent = 200 * flag
	r := rand.New(rand.NewPCG(11, 12))
	drawn := map[string][]float64{}
	for range 300 {
		s := newShot()
		clean := [6][]float64{}
		for k := range clean {
			clean[k] = append([]float64(nil), s.values[k]...)
		}
		for k := range 6 {
			triad := k / 3 * 3
			gain := 1 + sensitivity*r.NormFloat64()
			share := [3]float64{}
			for j := range share {
				share[j] = cross / 100 * (2*r.Float64() - 1)
			}
			share[k-triad] = gain
			noise := []float64{0.3, 0.03}[k/3]
			for i := range s.values[k] {
				s.values[k][i] = share[0]*clean[triad][i] + share[1]*clean[triad+1][i] + share[2]*clean[triad+2][i] + noise*r.NormFloat64()
			}
		}
		// the flag passes in 100 to 101 steps, from anywhere between two samples on
		from, extra := 150+r.Float64(), r.Float64()
		for i := range s.values[6] {
			s.values[6][i] = 0.02 * r.NormFloat64()
			if x := float64(i); x >= from && x < from+100+extra {
				s.values[6][i] += 5
			}
		}
		width := m.Channels[6].FlagMM
		m.Channels[6].FlagMM *= 1 + flag*r.NormFloat64()
		rep := scoreText(t, s.csv(), score.Options{Map: m, ResultsOnly: true})
		m.Channels[6].FlagMM = width
		for name, x := range rep.Results {
			if name == "impact_speed" {
				x.Value *= (100 + extra) / 100 // as if all had passed in 100 steps
			}
			drawn[name] = append(drawn[name], x.Value)
		}
	}
	rep := scoreText(t, newShot().csv(), score.Options{Map: m})
	for _, name := range []string{"impact_speed", "peak_linear_acceleration", "severity_index", "hic15", "hic36", "velocity_change", "clip_3ms", "peak_angular_velocity", "damage"} {
		want, got := gum.CoverageFactor*deviation(drawn[name]), rep.Results[name].ExpandedUncertainty
		if got == nil || math.Abs(*got-want) > monteCarloTolerance*want {
			t.Errorf("%s: expanded uncertainty %v propagated, %g by Monte Carlo", name, deref(got), want)
		}
	}
}

func deref(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// The budget names every source with its channel, and its rows make the expanded
// uncertainty; a cross-axis share that nobody stated is named and not in the sum.
func TestBudgetTable(t *testing.T) {
	m := shotMap()
	m.Channels[0].CrossAxisPercent = 5
	rep := scoreText(t, newShot().csv(), score.Options{Map: m})
	for _, name := range []string{"impact_speed", "peak_linear_acceleration", "severity_index", "hic15", "hic36", "velocity_change", "clip_3ms", "bric", "damage",
		"peak_angular_velocity", "peak_angular_acceleration"} {
		sum, seen := 0.0, map[string]int{}
		for _, row := range rep.Detail.Budgets[name] {
			if row.Input == "" || row.Standard < 0 || row.Unknown != (row.Standard == 0) {
				t.Errorf("%s: row %+v", name, row)
			}
			sum += row.Standard * row.Standard
			seen[row.Source]++
		}
		if u := rep.Results[name].ExpandedUncertainty; u == nil || math.Abs(2*math.Sqrt(sum)-*u) > 1e-9**u {
			t.Errorf("%s: rows make %g, the result has %v", name, 2*math.Sqrt(sum), deref(u))
		}
		if name != "impact_speed" && (seen["sensitivity"] != 3 || seen["cross axis"] != 3) || name == "impact_speed" && (seen["flag width"] != 1 || seen["edges"] != 1 || seen["time base"] != 1) {
			t.Errorf("%s: rows %v", name, seen)
		}
		if seen["noise"] == 0 && name != "impact_speed" && name != "damage" {
			t.Errorf("%s: no row for noise", name)
		}
	}
	known := 0
	for _, row := range rep.Detail.Budgets["hic15"] {
		if row.Source == "cross axis" && !row.Unknown {
			known++
			if row.Channel != "ax" {
				t.Errorf("stated cross axis on %q", row.Channel)
			}
		}
	}
	if known != 1 {
		t.Errorf("%d channels with a stated cross axis, want ax alone", known)
	}
}

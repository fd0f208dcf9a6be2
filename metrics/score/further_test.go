package score_test

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"thudbook/metrics/score"
)

// restsOn names, for a result that is made of others or of the same channels, those
// without which it is left out.
var restsOn = map[string][]string{
	"clip_3ms_cumulative": {"clip_3ms"}, "time_to_peak": {"impact_duration"}, "rise_rate": {"impact_duration"},
	"pulse_width_10_percent": {"impact_duration"}, "pulse_width_50_percent": {"impact_duration"},
	"ric36": {"peak_angular_acceleration"}, "gambit_b": {"gambit"}, "harm": {"hic15", "damage"},
}

// withoutUncertainty are results for which none is worked out.
var withoutUncertainty = []string{"impact_duration", "dwell_150g", "dwell_200g", "clip_3ms_cumulative", "time_to_peak",
	"pulse_width_10_percent", "pulse_width_50_percent", "rise_rate", "ric36"}

// contractWithout is the contract without some results and without what rests on them.
func contractWithout(without []string) []string {
	return slices.DeleteFunc(slices.Clone(contract), func(n string) bool {
		return slices.Contains(without, n) || slices.ContainsFunc(restsOn[n], func(base string) bool { return slices.Contains(without, base) })
	})
}

// The further results stand in the relations that their definitions ask for; the
// values themselves are compared with scipy in TestAgainstScipy.
func TestFurtherResults(t *testing.T) {
	rep := scoreText(t, newShot().csv(), score.Options{Map: shotMap()})
	v := func(name string) float64 {
		r, ok := rep.Results[name]
		if !ok || r.Definition == "" && restsOn[name] != nil {
			t.Errorf("%s: %+v", name, r)
		}
		return r.Value
	}
	if v("clip_3ms_cumulative") < v("clip_3ms") {
		t.Errorf("cumulative clip %g below the unbroken one, %g", v("clip_3ms_cumulative"), v("clip_3ms"))
	}
	if !(v("pulse_width_50_percent") < v("pulse_width_10_percent") && v("time_to_peak") < v("impact_duration")) {
		t.Errorf("widths %g and %g s, to the peak %g of %g s", v("pulse_width_50_percent"), v("pulse_width_10_percent"), v("time_to_peak"), v("impact_duration"))
	}
	if at := *rep.Results["peak_linear_acceleration"].AtS; *rep.Results["time_to_peak"].ToS != at {
		t.Errorf("time to peak ends at %g s, the peak is at %g s", *rep.Results["time_to_peak"].ToS, at)
	}
	// two independent parts: length of the two uncertainties (JCGM 100:2008, 5.1.2)
	hic, damage, harm := rep.Results["hic15"], rep.Results["damage"], rep.Results["harm"]
	if want := 0.0148*hic.Value + 15.6*damage.Value; math.Abs(harm.Value-want) > 1e-12*want {
		t.Errorf("HARM %g, want %g", harm.Value, want)
	}
	if harm.ExpandedUncertainty == nil {
		t.Fatal("HARM carries no uncertainty")
	}
	if want := math.Hypot(0.0148**hic.ExpandedUncertainty, 15.6**damage.ExpandedUncertainty); math.Abs(*harm.ExpandedUncertainty-want) > 1e-12*want {
		t.Errorf("uncertainty of HARM %g, want %g", *harm.ExpandedUncertainty, want)
	}
	m := shotMap()
	m.Channels[5].ExpandedUncertaintyPercent = 0
	if harm := scoreText(t, newShot().csv(), score.Options{Map: m}).Results["harm"]; harm.ExpandedUncertainty != nil {
		t.Error("HARM carries an uncertainty though that of an angular channel is not known")
	}
}

// Published functions are no results: they are there only when asked for, apart from
// the results, and each says what it is not.
func TestPublishedFunctions(t *testing.T) {
	text := newShot().csv()
	plain := scoreText(t, text, score.Options{Map: shotMap()})
	asked := scoreText(t, text, score.Options{Map: shotMap(), Published: true})
	if plain.Published != nil || len(asked.Published) < 10 {
		t.Fatalf("not asked for: %d, asked for: %d", len(plain.Published), len(asked.Published))
	}
	if !slices.Equal(names(plain), names(asked)) {
		t.Errorf("asking changes the results: %v", names(asked))
	}
	b, err := json.Marshal(asked)
	if err != nil {
		t.Fatal(err)
	}
	var out struct {
		Published []struct {
			Name, Authors, Sentence string
			Inputs                  []struct{ Result string }
			Value                   *float64
		} `json:"published_functions"`
	}
	if err := json.Unmarshal(b, &out); err != nil {
		t.Fatal(err)
	}
	for _, p := range out.Published {
		if p.Name == "" || p.Authors == "" || len(p.Inputs) == 0 || p.Value == nil || !strings.Contains(p.Sentence, "no medical statement") {
			t.Errorf("%+v", p)
		}
	}
	if b, err = json.Marshal(plain); err != nil || strings.Contains(string(b), "published_functions") {
		t.Errorf("the key stands there without being asked for (%v)", err)
	}
}

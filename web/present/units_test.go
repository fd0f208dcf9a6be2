package present_test

import (
	"os"
	"slices"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/score"
	"thudbook/web/page"
	"thudbook/web/present"
)

// Every result that the computation gives has its unit here, the same one, and a
// name and a place on the screens.
func TestResultUnits(t *testing.T) {
	t.Parallel()
	m, err := os.Open("../../testdata/frontal-9ms.map.toml")
	if err != nil {
		t.Fatal(err)
	}
	defer m.Close()
	chart, err := chanmap.Parse(m, "map")
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open("../../testdata/frontal-9ms.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	speed := 5.5
	chart.Ram.MassKG = 15
	rep := score.Score(t.Context(), f, score.Options{Map: chart, TypedSpeedMS: &speed})
	if rep.Error != nil || len(rep.Results) < 20 {
		t.Fatalf("%d results, %v", len(rep.Results), rep.Error)
	}
	for key, r := range rep.Results {
		if unit, ok := present.ResultUnit(key); !ok || unit != r.Unit || !slices.Contains(present.ResultKeys(), key) || page.MetricName(key) == key {
			t.Errorf("%s: unit %q, the computation gives %q", key, unit, r.Unit)
		}
	}
	for _, key := range present.ResultKeys() {
		if _, ok := rep.Results[key]; !ok {
			t.Errorf("%s is no result of a shot with all channels", key)
		}
	}
}

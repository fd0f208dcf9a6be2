package chart_test

import (
	"math"
	"strings"
	"testing"

	"thudbook/web/chart"
)

// The table holds every sample with all digits; a gap is an empty cell, and
// which curve a column holds stands in its head.
func TestCSV(t *testing.T) {
	tr := chart.Traces{TimeS: []float64{-0.1, 0, 1.0 / 3}, Channels: []chart.Channel{
		{Name: "ax", Unit: "g", Class: "CFC 1000", Raw: []float64{1, 2, math.NaN()}, Filtered: []float64{0.1, 0.2, 0.30000000000000004}},
		{Name: "=gate", Raw: []float64{5, 5, 0}},
	}}
	for raw, want := range map[bool]string{
		false: "time [s],\"ax, CFC 1000 [g]\",gate\n-0.1,0.1,5\n0,0.2,5\n0.3333333333333333,0.30000000000000004,0\n",
		true:  "time [s],ax [g],gate\n-0.1,1,5\n0,2,5\n0.3333333333333333,,0\n",
	} {
		b, err := tr.CSV(raw)
		if err != nil || string(b) != want {
			t.Errorf("raw %v: %v\n%s\nwant\n%s", raw, err, b, want)
		}
	}
	tr.Channels[0].Raw = tr.Channels[0].Raw[:2]
	if _, err := tr.CSV(true); err == nil || !strings.Contains(err.Error(), "ax") {
		t.Errorf("lengths that do not agree: %v", err)
	}
}

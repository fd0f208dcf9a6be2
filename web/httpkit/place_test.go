package httpkit_test

import (
	"testing"

	"thudbook/web/httpkit"
)

// Names of fields and kinds become words; files, lines and texts stay.
func TestPlaceWords(t *testing.T) {
	for in, want := range map[string]string{
		"work_order":                   "work order",
		"service, counter_strokes":     "service, counter strokes",
		"service.plan, every_days":     "service plan, every days",
		"cell 2, tolerance_m_s":        "cell 2, tolerance, m/s",
		"calibration, due_at":          "certificate, due",
		"rig-one.csv":                  "rig-one.csv",
		"rig_one.csv, line 3":          "rig_one.csv, line 3",
		"D:, 412 MB free":              "D:, 412 MB free",
		"line 2, column state":         "line 2, column state",
		"":                             "",
		"tank_pressure_kpa_gauge":      "tank pressure, kPa gauge",
		"expanded_uncertainty_percent": "expanded uncertainty, %",
	} {
		if got := httpkit.PlaceWords(in); got != want {
			t.Errorf("%q is worded %q, want %q", in, got, want)
		}
	}
}

package present

import (
	"time"

	"thudbook/sync/lab"
	"thudbook/web/httpkit"
)

// Certificate reads the form of page.CalibrationFields, all but the item. Dates
// are in the zone of now.
func Certificate(f *httpkit.Filled, now time.Time) *lab.Calibration {
	b := &lab.Calibration{EffectiveAt: lab.At(f.Past("effective_at", now)), Certificate: f.Values["certificate"], CertifiedSerial: f.Values["certified_serial"],
		Sensitivity: f.Number("sensitivity"), SensitivityUnit: f.Values["sensitivity_unit"], ExpandedUncertaintyPercent: f.Number("expanded_uncertainty_percent"),
		AsFoundSensitivity: f.Number("as_found_sensitivity"), AsFoundNotReported: f.Values["as_found_not_reported"] != "", AsFoundLimitPercent: f.Number("as_found_limit_percent"), Laboratory: f.Values["laboratory"], ReferenceStandard: f.Values["reference_standard"]}
	if day, ok := f.Day("effective_at", now); ok && len(f.Values["effective_at"]) == len(time.DateOnly) {
		b.EffectiveAt = day.StartOf(now.Location())
	}
	if day, ok := f.Day("due_at", now); ok { // good to the end of that day
		b.DueAt = day.EndOf(now.Location())
	}
	return b
}

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
	if t := f.Moment("due_at", now); !t.IsZero() { // good to the end of that day
		b.DueAt = lab.At(t.AddDate(0, 0, 1)) - 1
	}
	return b
}

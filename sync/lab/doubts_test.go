package lab_test

import (
	"strings"
	"testing"

	"thudbook/sync/lab"
)

// TestDoubtsOfASensitivity: what has no sensitivity by its nature, and a first
// one below zero, are asked about once; what measures, and classes that the
// programs do not know, are not (common practice, no published source).
func TestDoubtsOfASensitivity(t *testing.T) {
	for _, x := range []struct {
		class  string
		value  float64
		unit   string
		before float64 // 0: none
		want   string  // empty: no doubt
	}{
		{lab.ClassHose, 1, "mV/g", 0, "a hose has no sensitivity"},
		{"Air Receiver", 1, "mV/kPa", 0, "has no sensitivity"},
		{lab.ClassRam, 2, "mV", 0, "a ram has no sensitivity"},
		{lab.ClassSensor, 1, "mV/g", 0, ""},
		{lab.ClassPressureTransducer, 1, "mV/kPa", 0, ""},
		{lab.ClassAcquisitionUnit, 1, "V/V", 0, ""},
		{"wrench", 1, "mV/Nm", 0, ""},
		{lab.ClassSensor, -1, "mV/g", 0, "-1 is below zero, and no certificate before says so"},
		{lab.ClassSensor, -1, "mV/g", -1.01, ""},
		{lab.ClassSensor, -1, "mV/g", 1, "the other sign"},
	} {
		k, before := &lab.Calibration{Sensitivity: &x.value, SensitivityUnit: x.unit}, (*lab.Calibration)(nil)
		if x.before != 0 {
			before = &lab.Calibration{Sensitivity: &x.before, SensitivityUnit: x.unit, Certificate: "K-0"}
		}
		got := k.Doubts(&lab.Item{Class: x.class, Serial: "S"}, before)
		switch {
		case x.want == "" && len(got) > 0:
			t.Errorf("%s %g %s: %+v", x.class, x.value, x.unit, got)
		case x.want != "" && (len(got) != 1 || got[0].Field != "sensitivity" || !strings.Contains(got[0].What, x.want)):
			t.Errorf("%s %g %s: %+v, want %q", x.class, x.value, x.unit, got, x.want)
		}
	}
	if got := (&lab.Calibration{Certificate: "K"}).Doubts(&lab.Item{Class: lab.ClassHose, Serial: "H"}, nil); len(got) != 0 {
		t.Errorf("a certificate of a hose without a sensitivity: %+v", got)
	}
}

package lab_test

import (
	"math"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/lab"
)

// By hand. Two certificates of 1.5 % each, 1.00 and 1.05 mV/g: the change is 5 %,
// the uncertainties explain hypot(1.05 × 1.5, 1.00 × 1.5) / 1.00 = 2.175 %.
func TestAsFound(t *testing.T) {
	k := func(change func(*lab.Calibration)) *lab.Calibration {
		c := &lab.Calibration{Item: uuid.New(), EffectiveAt: 1, DueAt: 2, Certificate: "K", Sensitivity: new(1.0), SensitivityUnit: "mV/g", ExpandedUncertaintyPercent: new(1.5)}
		change(c)
		return c
	}
	before := k(func(*lab.Calibration) {})
	for name, c := range map[string]struct {
		now              *lab.Calibration
		ok, out, explain bool
		change, limit    float64
	}{
		"not adjusted":                   {k(func(c *lab.Calibration) { c.Sensitivity = new(1.05) }), true, true, true, 5, 2.1750},
		"adjusted back":                  {k(func(c *lab.Calibration) { c.AsFoundSensitivity = new(1.05) }), true, true, true, 5, 2.1750},
		"adjusted, not reported":         {k(func(c *lab.Calibration) { c.Sensitivity, c.AsFoundNotReported = new(1.05), true }), false, false, false, 0, 0},
		"within the limit that was set":  {k(func(c *lab.Calibration) { c.AsFoundSensitivity, c.AsFoundLimitPercent = new(1.05), new(6.0) }), true, false, false, 5, 6},
		"outside the limit that was set": {k(func(c *lab.Calibration) { c.AsFoundSensitivity, c.AsFoundLimitPercent = new(0.97), new(2.0) }), true, true, false, -3, 2},
		"no limit and no uncertainty":    {k(func(c *lab.Calibration) { c.AsFoundSensitivity, c.ExpandedUncertaintyPercent = new(1.05), nil }), false, false, false, 0, 0},
		"in another unit":                {k(func(c *lab.Calibration) { c.SensitivityUnit = "mV/(m/s2)" }), false, false, false, 0, 0},
		"explained by the uncertainties": {k(func(c *lab.Calibration) { c.AsFoundSensitivity = new(1.02) }), true, false, true, 2, 2.1427},
	} {
		f, ok := c.now.AsFound(before)
		if ok != c.ok || ok && (f.Out() != c.out || f.Explained != c.explain || math.Abs(f.ChangePercent-c.change) > 1e-9 || math.Abs(f.LimitPercent-c.limit) > 1e-4) {
			t.Errorf("%s: %+v %t", name, f, ok)
		}
	}
	if _, ok := before.AsFound(nil); ok {
		t.Error("the first certificate is compared")
	}
	if err := k(func(c *lab.Calibration) { c.AsFoundSensitivity, c.AsFoundNotReported = new(1.05), true }).Validate(); err == nil {
		t.Error("a value as found that is not reported, and given, is accepted")
	}
}

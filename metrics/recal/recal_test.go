package recal_test

import (
	"math"
	"testing"

	"thudbook/metrics/recal"
)

// Worked by hand. The method is ILAC-G24:2022 / OIML D 10:2022, method 1; the
// factors are our own.
func TestStaircase(t *testing.T) {
	for name, c := range map[string]struct {
		all     []recal.Found
		reason  recal.Reason
		days    float64
		share   float64
		clipped bool
	}{
		"none":                     {nil, recal.TooFew, 0, 0, false},
		"one well within":          {[]recal.Found{{365, 0.5, 2}}, recal.TooFew, 0, 0.25, false},
		"one outside":              {[]recal.Found{{365, -2.5, 2}}, recal.Shorted, 219, 1.25, false},                      // 0.6 × 365
		"twice well within":        {[]recal.Found{{365, 1.6, 2}, {400, -1, 2}}, recal.Longed, 500, 0.5, false},           // 1.25 × 400; 1.6 is just 80 % of 2
		"well within once":         {[]recal.Found{{365, 1.7, 2}, {400, 1, 2}}, recal.Kept, 400, 0.5, false},              // 85 % before
		"within, not well":         {[]recal.Found{{365, 1, 2}, {400, 1.9, 2}}, recal.Kept, 400, 0.95, false},             //
		"at the limit":             {[]recal.Found{{365, 1, 2}, {400, 2, 2}}, recal.Kept, 400, 1, false},                  // not outside
		"outside, after good ones": {[]recal.Found{{365, 0, 2}, {365, 0, 2}, {100, 3, 2}}, recal.Shorted, 60, 1.5, false}, // 0.6 × 100
		"not below a month":        {[]recal.Found{{40, 3, 2}}, recal.Shorted, recal.MinDays, 1.5, true},                  // 24
		"not above five years":     {[]recal.Found{{1600, 0, 2}, {1600, 0, 2}}, recal.Longed, recal.MaxDays, 0, true},     // 2000
		"unusable ones left out":   {[]recal.Found{{365, 1, 2}, {0, 9, 2}, {400, 1, 0}}, recal.TooFew, 0, 0.5, false},     //
		"not a number left out":    {[]recal.Found{{365, math.NaN(), 2}, {365, 2.5, 2}}, recal.Shorted, 219, 1.25, false}, //
	} {
		a := recal.Next(c.all)
		if a.Reason != c.reason || math.Abs(a.Days-c.days) > 1e-9 || math.Abs(a.Share-c.share) > 1e-12 || a.Clipped != c.clipped {
			t.Errorf("%s: %+v, want %+v", name, a, c)
		}
	}
}

// +1 % in 365.25 days and -0.5 % in as many: 1.01 × 0.995 = 1.00495 in two years,
// √1.00495 - 1 = 0.24720 % a year; to a limit of 2 % that takes 2/0.24720 years.
func TestDrift(t *testing.T) {
	a := recal.Next([]recal.Found{{365.25, 1, 2}, {365.25, -0.5, 2}})
	if math.Abs(a.PerYearPercent-0.24720) > 1e-5 || math.Abs(a.ToLimitDays-365.25*2/0.24720) > 0.1 {
		t.Errorf("drift %v %% a year, %v days to the limit", a.PerYearPercent, a.ToLimitDays)
	}
	if a := recal.Next([]recal.Found{{365, 0, 2}, {365, 0, 2}}); a.PerYearPercent != 0 || !math.IsInf(a.ToLimitDays, 1) {
		t.Errorf("without drift: %+v", a)
	}
	if a := recal.Next([]recal.Found{{365, 3, 2}}); !math.IsNaN(a.PerYearPercent) {
		t.Errorf("of one calibration: %v", a.PerYearPercent)
	}
}

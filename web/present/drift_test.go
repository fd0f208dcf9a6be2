package present_test

import (
	"math"
	"strings"
	"testing"

	"thudbook/sync/speed"
	"thudbook/web/page"
	"thudbook/web/present"
)

// Without a trend the words say what the shots show: that each lies within the
// tolerance of the curve, or how many do not.
func TestDriftWithoutATrend(t *testing.T) {
	says := func(far float64) page.Notice {
		t.Helper()
		h := speed.History{}
		for i := range int64(12) {
			kpa := 140 + 5*float64(i%4)
			v := 6*math.Sqrt(kpa/150) + 0.02*float64(i%3-1)
			if i == 5 {
				v += far
			}
			h.Since = append(h.Since, speed.Pair{Stroke: i + 1, PressureKPa: kpa, SpeedMS: v})
		}
		d, err := h.Drift()
		if err != nil {
			t.Fatal(err)
		}
		p := page.Drift{}
		present.Drift(&p, &d, &present.Aim{SpeedMS: 6, ToleranceMS: 0.2}, "kPa")
		return p.Words[len(p.Words)-1]
	}
	if n := says(0); n.Level != page.OK || !strings.Contains(n.Text, "every shot lies within the tolerance of 6.00 ± 0.20 m/s") {
		t.Errorf("shots on the curve: %+v", n)
	}
	n := says(0.5)
	if n.Level != page.Warn || !strings.Contains(n.Text, "1 of 12 shots lie farther than that") || strings.Contains(n.Text, "stays in") {
		t.Errorf("one shot far off: %+v", n)
	}
}

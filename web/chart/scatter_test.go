package chart_test

import (
	"math"
	"strings"
	"testing"

	"thudbook/web/chart"
)

// Points stand where their values say, a line breaks where one is missing, and
// text from outside stays text.
func TestScatter(t *testing.T) {
	s := chart.Scatter{XLabel: "x <b>", Unit: "m/s", Series: []chart.Series{
		{Label: "shots <i>", X: []float64{0, 5, 10}, Y: []float64{0, 5, 10}},
		{Label: "fit", Line: true, X: []float64{0, 5, 7, 10}, Y: []float64{0, math.NaN(), 7, 10}},
	}}
	html := string(s.HTML())
	// 480 columns and 168 px of ten steps each: 5 of 10 is in the middle.
	for _, want := range []string{"M0 1680h0M2400 840h0M4800 0h0", "M0 1680M3360 504L4800 0", "x &lt;b&gt;", "shots &lt;i&gt;", "m/s"} {
		if !strings.Contains(html, want) {
			t.Errorf("the drawing lacks %q:\n%s", want, html)
		}
	}
	if strings.Contains(html, "NaN") {
		t.Error("a value that is none is drawn")
	}
	if h := (chart.Scatter{Series: []chart.Series{{X: []float64{math.Inf(1)}, Y: []float64{1}}}}).HTML(); h != "" {
		t.Errorf("nothing to draw gives %q", h)
	}
}

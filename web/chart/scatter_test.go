package chart_test

import (
	"math"
	"regexp"
	"strconv"
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
	// 480 columns and 168 px of ten steps each, with a twentieth of the range free
	// on each side: 5 of 10 is in the middle, and no point lies on the frame.
	for _, want := range []string{"M218 1604h0M2400 840h0M4582 76h0", "M218 1604M3273 535L4582 76", "x &lt;b&gt;", "shots &lt;i&gt;", "m/s"} {
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

var tickText = regexp.MustCompile(`%" y="13"[^>]*>([^<]*)<`)

// The ticks of an axis that counts are whole numbers that were counted.
func TestScatterCounts(t *testing.T) {
	for _, n := range []int{1, 2, 3, 7, 40} {
		s := chart.Scatter{XLabel: "check", Counts: true, Series: []chart.Series{{}}}
		for i := range n {
			s.Series[0].X, s.Series[0].Y = append(s.Series[0].X, float64(i+1)), append(s.Series[0].Y, 90)
		}
		ticks := tickText.FindAllStringSubmatch(string(s.HTML()), -1)
		if len(ticks) == 0 {
			t.Fatalf("%d checks: no ticks\n%s", n, s.HTML())
		}
		for _, tick := range ticks {
			if k, err := strconv.Atoi(tick[1]); err != nil || k < 1 || k > n {
				t.Errorf("%d checks: a tick is at %q", n, tick[1])
			}
		}
	}
}

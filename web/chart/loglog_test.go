package chart_test

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"thudbook/web/chart"
)

// A power law is a straight line on logarithmic axes: the middle of the axis, by
// its logarithm, lies half way up.
func TestLogLog(t *testing.T) {
	l := chart.LogLog{X: []float64{10, 100, 1000}, XLabel: "natural frequency, Hz", Unit: "g", Curves: []chart.LogCurve{
		{Label: "ax <x>", Axis: "x", Y: []float64{1, 10, 100}},
		{Label: "ay", Axis: "y", Y: []float64{100, 0, math.NaN()}},
	}}
	html := string(l.HTML())
	paths := regexp.MustCompile(`class="curve hue(\d)([^"]*)" d="M([^"]+)"`).FindAllStringSubmatch(html[strings.Index(html, `class="wave"`):], -1)
	if len(paths) != 2 {
		t.Fatalf("%d curves in %s", len(paths), html)
	}
	var at [][2]float64
	for _, p := range strings.Split(paths[0][3], "L") {
		x, y, _ := strings.Cut(p, " ")
		a, errA := strconv.ParseFloat(x, 64)
		b, errB := strconv.ParseFloat(y, 64)
		if errA != nil || errB != nil {
			t.Fatal(p)
		}
		at = append(at, [2]float64{a, b})
	}
	if len(at) != 3 || at[0][0] != 0 || at[1][0]*2 != at[2][0] || at[2][1] != 0 || at[1][1]*2 != at[0][1] {
		t.Errorf("points %v, want a straight line from corner to corner", at)
	}
	if !strings.Contains(paths[1][2], "axis-y") || strings.Contains(paths[1][3], "L") {
		t.Errorf("second curve %q: dashes of y, and a break at what has no logarithm", paths[1])
	}
	for _, want := range []string{"ax &lt;x&gt;", ">natural frequency, Hz<", ">10<", ">20<", ">1000<"} {
		if !strings.Contains(html, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if strings.Contains(html, "NaN") || strings.Contains(html, "Inf") || strings.Contains(html, "style=") {
		t.Error(html)
	}
}

func TestLogLogOfNothing(t *testing.T) {
	for name, l := range map[string]chart.LogLog{
		"nothing":       {},
		"no values":     {X: []float64{1, 2}, Curves: []chart.LogCurve{{Y: []float64{0, -1}}}},
		"other lengths": {X: []float64{1, 2}, Curves: []chart.LogCurve{{Y: []float64{1}}}},
	} {
		if html := l.HTML(); html != "" {
			t.Errorf("%s: %s", name, html)
		}
	}
	// one value, and values across the whole range of numbers
	for _, y := range [][]float64{{5, 5}, {5e-324, 1e300}, {0.3, 0.30001}} {
		html := string(chart.LogLog{X: []float64{1, 2}, Curves: []chart.LogCurve{{Y: y}}}.HTML())
		if !strings.Contains(html, `class="curve hue0" d="M`) || strings.Contains(html, "NaN") {
			t.Errorf("%v: %s", y, html)
		}
	}
}

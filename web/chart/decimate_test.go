package chart_test

import (
	"bytes"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thudbook/web/chart"
)

// One sample of 1000 in a record of zeros must be in the thinned traces and in
// the drawing, wherever it is and however much is thinned away. That no peak is
// lost is the whole point of thinning by smallest and largest value.
func TestSpikeSurvivesThinning(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 20_000).Draw(t, "samples")
		at := rapid.IntRange(0, n-1).Draw(t, "spike")
		buckets := rapid.IntRange(1, 3000).Draw(t, "buckets")
		sign := rapid.SampledFrom([]float64{1, -1}).Draw(t, "sign")
		tr := record(n)
		tr.Channels[0].Raw[at] = sign * 1000

		var b bytes.Buffer
		if err := (chart.Encoding{Buckets: buckets, Raw: true}).Encode(&b, tr); err != nil {
			t.Fatal(err)
		}
		got, head, err := chart.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		if head.Samples != n || head.Points > max(2*buckets, 0) && head.Points != n {
			t.Fatalf("%d points for %d buckets of %d samples", head.Points, buckets, n)
		}
		i := farthest(got.Channels[0].Raw)
		if got.Channels[0].Raw[i] != sign*1000 {
			t.Fatalf("spike came out as %g", got.Channels[0].Raw[i])
		}
		// It is shown no farther from its time than a bucket is wide.
		width := float64(n)/float64(buckets) + 1
		if d := math.Abs(got.TimeS[i] - tr.TimeS[at]); d > width*1e-3 {
			t.Fatalf("spike moved by %g s with buckets of %g s", d, width*1e-3)
		}
	})
}

// The drawing reaches from the bottom to the top of its axis only through the
// spike: its path must hold a vertical stretch of that height.
func TestSpikeIsDrawn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(50, 20_000).Draw(t, "samples")
		at := rapid.IntRange(0, n-1).Draw(t, "spike")
		tr := record(n)
		tr.Channels[0].Raw[at] = 1000 // the axis runs from 0 to 1000: 1680 steps
		d := regexp.MustCompile(`class="curve hue0" d="(M[^"]*[lvh][^"]*)"/></svg></div>`).FindStringSubmatch(string(chart.Static(tr)))
		if d == nil {
			t.Fatal("no curve in the drawing")
		}
		if low, high := reach(t, d[1]); low != 0 || high != 1680 {
			t.Fatalf("curve reaches from %d to %d, want 0 (the spike) to 1680 (zero)", low, high)
		}
	})
}

// reach follows the relative path commands that the package writes and returns
// the smallest and largest row.
func reach(t *rapid.T, d string) (low, high int) {
	low, high = 1<<30, -1
	y := 0
	for _, m := range regexp.MustCompile(`([Mlvh])(-?\d+)(?: ?(-?\d+))?`).FindAllStringSubmatch(d, -1) {
		a, err := strconv.Atoi(m[2])
		if err != nil {
			t.Fatal(err)
		}
		b, _ := strconv.Atoi(m[3])
		switch m[1] {
		case "M":
			y = b
		case "l":
			y += b
		case "v":
			y += a
		}
		low, high = min(low, y), max(high, y)
	}
	return low, high
}

func record(n int) chart.Traces {
	tr := chart.Traces{TimeS: make([]float64, n), Channels: []chart.Channel{{Name: "ax", Unit: "g", Axis: "x", Raw: make([]float64, n)}}}
	for i := range tr.TimeS {
		tr.TimeS[i] = float64(i) * 1e-3
	}
	return tr
}

func farthest(v []float64) int {
	at := 0
	for i := range v {
		if math.Abs(v[i]) > math.Abs(v[at]) {
			at = i
		}
	}
	return at
}

func TestStaticDrawing(t *testing.T) {
	tr := record(100)
	tr.Channels[0].Label = `<script>alert("x")</script>`
	tr.Channels = append(tr.Channels, chart.Channel{Name: "wz", Unit: "rad/s", Axis: "z", Quantity: "angular velocity", Raw: tr.Channels[0].Raw})
	html := string(chart.Static(tr))
	for text, want := range map[string]int{"<script>": 0, "style=": 0, "on": -1, `class="pane"`: 2, "time in the record, ms": 1, "time since trigger": 0, "axis-z": 2, "hue1": 2} {
		if n := strings.Count(html, text); want >= 0 && n != want {
			t.Errorf("%q stands %d times in the drawing, want %d", text, n, want)
		}
	}
	tr.FromTrigger = true
	if html = string(chart.Static(tr)); !strings.Contains(html, "time since trigger, ms") || strings.Contains(html, "time in the record") {
		t.Error("the axis of a record that counts from its trigger does not say so")
	}
}

// Records that are odd but possible: they must draw, and say nothing false.
func TestOddRecords(t *testing.T) {
	nan := math.NaN()
	for name, tr := range map[string]chart.Traces{
		"empty":          {},
		"one sample":     {TimeS: []float64{0}, Channels: []chart.Channel{{Name: "a", Raw: []float64{3}}}},
		"all lost":       {TimeS: []float64{0, 1, 2}, Channels: []chart.Channel{{Name: "a", Raw: []float64{nan, nan, nan}}}},
		"infinite":       {TimeS: []float64{0, 1, 2}, Channels: []chart.Channel{{Name: "a", Raw: []float64{1, math.Inf(1), 2}}}},
		"repeated times": {TimeS: []float64{1, 1, 1}, Channels: []chart.Channel{{Name: "a", Raw: []float64{1, 2, 3}}}},
		"no curve":       {TimeS: []float64{0, 1}, Channels: []chart.Channel{{Name: "a"}}},
		"lengths differ": {TimeS: []float64{0, 1}, Channels: []chart.Channel{{Name: "a", Raw: []float64{1}}}},
		"view outside":   {TimeS: []float64{0, 1}, ViewFromS: 5, ViewToS: 6, Channels: []chart.Channel{{Name: "a", Raw: []float64{1, 2}}}},
	} {
		html := string(chart.Static(tr))
		for _, bad := range []string{"NaN", "Inf", "e+", "e-0"} {
			if strings.Contains(html, bad) {
				t.Errorf("%s: the drawing says %q", name, bad)
			}
		}
		if tr.Summary() == "" {
			t.Errorf("%s: no summary", name)
		}
		var b bytes.Buffer
		err := chart.EncodeTraces(&b, tr)
		if (err != nil) != (name == "lengths differ") {
			t.Errorf("%s: encode: %v", name, err)
		}
	}
}

// A long record opens at its impact, a short one whole, and a view that was
// asked for is kept.
func TestFirstView(t *testing.T) {
	for _, c := range []struct {
		samples    int
		ask, until float64
		from, to   float64
	}{
		{1000, 0, 0, 0.475, 0.575},
		{1000, 0.1, 0.2, 0.1, 0.2},
		{150, 0, 0, 0, 0.149},
	} {
		tr := record(c.samples)
		tr.Channels[0].Raw[c.samples/2] = 80
		tr.ViewFromS, tr.ViewToS = c.ask, c.until
		var b bytes.Buffer
		if err := chart.EncodeTraces(&b, tr); err != nil {
			t.Fatal(err)
		}
		_, head, err := chart.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(head.FromS-c.from) > 1e-9 || math.Abs(head.ToS-c.to) > 1e-9 {
			t.Errorf("%d samples, asked for %g to %g: shown %g to %g s", c.samples, c.ask, c.until, head.FromS, head.ToS)
		}
	}
}

// Two quantities of one unit, axis and position are two curves to the eye.
func TestCurvesOfAPaneDiffer(t *testing.T) {
	tr := record(50)
	v := tr.Channels[0].Raw
	tr.Channels = nil
	for _, name := range []string{"fx", "ram_force", "fx2"} {
		tr.Channels = append(tr.Channels, chart.Channel{Name: name, Unit: "N", Axis: "x", Quantity: "force", Position: "centre of gravity", Raw: v})
	}
	seen := map[string]int{}
	for _, m := range regexp.MustCompile(`<path class="(curve [^"]*)" d="M0 5H28"`).FindAllStringSubmatch(string(chart.Static(tr)), -1) {
		seen[m[1]]++
	}
	if len(seen) != 3 {
		t.Errorf("three curves of one pane are drawn as %v", seen)
	}
}

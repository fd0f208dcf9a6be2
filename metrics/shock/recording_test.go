package shock_test

import (
	"context"
	"math"
	"strings"
	"testing"

	"thudbook/metrics/shock"
	"thudbook/metrics/signal"
)

// recording has a half-sine on x, its reverse at half the size on y, a broken
// channel on z, and a channel that has no spectrum.
func recording() *signal.Recording {
	x := append(halfSine(100, 220), make([]float64, 3000)...)
	y := make([]float64, len(x))
	z := make([]float64, len(x))
	for i, v := range x {
		y[i] = -v / 2
	}
	z[17] = math.NaN()
	return &signal.Recording{RateHz: 20000, Channels: []signal.Channel{
		{Name: "ax", Measures: signal.LinearAcceleration, Axis: signal.X, Unit: "g", Values: x},
		{Name: "wx", Measures: signal.AngularVelocity, Axis: signal.X, Unit: "rad/s", Values: x},
		{Name: "ay", Measures: signal.LinearAcceleration, Axis: signal.Y, Unit: "g", Values: y},
		{Name: "az", Measures: signal.LinearAcceleration, Axis: signal.Z, Unit: "g", Values: z},
	}}
}

func TestOfRecording(t *testing.T) {
	rec := recording()
	s, err := shock.Of(t.Context(), rec, map[string]int{"ax": 1000, "ay": 180}, shock.Request{})
	if err != nil {
		t.Fatal(err)
	}
	if s.Q != 10 || s.DampingRatio != 0.05 || s.FrequenciesHz[0] != 10 || s.FrequenciesHz[len(s.FrequenciesHz)-1] != 180 {
		t.Errorf("Q %g, ζ %g, %g to %g Hz; want 10, 0.05, 10 to the lowest class", s.Q, s.DampingRatio, s.FrequenciesHz[0], s.FrequenciesHz[len(s.FrequenciesHz)-1])
	}
	if len(s.Curves) != 2 || s.Curves[0].Channel != "ax" || s.Curves[1].Axis != signal.Y || s.Curves[1].CFC != 180 {
		t.Fatalf("curves %+v", s.Curves)
	}
	if len(s.LeftOut) != 1 || s.LeftOut[0].Channel != "az" || !strings.Contains(s.LeftOut[0].Why, "sample 18 ") {
		t.Errorf("left out: %+v", s.LeftOut)
	}
	// the same as the channel alone, and linear: half of it, sides exchanged
	alone := compute(t, rec.Channels[0].Values, 20000, shock.Settings{FrequenciesHz: s.FrequenciesHz, DampingRatio: 0.05})
	for i := range s.FrequenciesHz {
		x, y := s.Curves[0].Points[i], s.Curves[1].Points[i]
		if x != alone.Points[i] {
			t.Fatalf("point %d: %+v, alone %+v", i, x, alone.Points[i])
		}
		near(t, "half", y.Primary.Negative, x.Primary.Positive/2, 1e-9, "linear")
		if g, k := s.Largest(i); g != x.Maximax() || k != 0 {
			t.Fatalf("largest %g of curve %d, want that of ax, %g", g, k, x.Maximax())
		}
	}
	if n := s.Notes(); len(n) != 0 {
		t.Errorf("notes %+v, want none with the defaults", n)
	}
}

func TestRequestNotes(t *testing.T) {
	s, err := shock.Of(t.Context(), recording(), map[string]int{"ax": 1000, "ay": 180}, shock.Request{Q: 25, FromHz: 2, ToHz: 1000, PerOctave: 3})
	if err != nil {
		t.Fatal(err)
	}
	got := map[shock.WarningCode]string{}
	for _, n := range s.Notes() {
		got[n.Code] = strings.Join(n.Channels, " ")
	}
	if len(got) != 2 || got[shock.RecordShort] != "ax ay" || got[shock.AboveClass] != "ay" {
		t.Errorf("notes %v", got)
	}
	near(t, "damping", s.DampingRatio, 0.02, 1e-15, "ζ = 1/(2Q)")
}

func TestRequestRefused(t *testing.T) {
	uneven := recording()
	uneven.TimeS = make([]float64, uneven.Len())
	none := recording()
	none.Channels = none.Channels[1:2]
	empty := recording()
	for i := range empty.Channels {
		empty.Channels[i].Values = nil
	}
	for name, c := range map[string]struct {
		rec  *signal.Recording
		r    shock.Request
		want string
	}{
		"uneven":     {uneven, shock.Request{}, "resample_hz"},
		"no channel": {none, shock.Request{}, "no channel of linear acceleration"},
		"empty":      {empty, shock.Request{}, "no samples"},
		"Q":          {recording(), shock.Request{Q: 0.4}, "quality factor"},
		"Q NaN":      {recording(), shock.Request{Q: math.NaN()}, "quality factor"},
		"too high":   {recording(), shock.Request{ToHz: 10001}, "reaches 10000 Hz"},
		"turned":     {recording(), shock.Request{FromHz: 500, ToHz: 100}, "an end not below it"},
		"NaN":        {recording(), shock.Request{FromHz: math.NaN()}, "natural frequencies from"},
		"too many":   {recording(), shock.Request{FromHz: 1e-6, ToHz: 10000, PerOctave: 96}, "the most is"},
		"an octave":  {recording(), shock.Request{PerOctave: 97}, "1 to 96"},
	} {
		if got, err := shock.Of(t.Context(), c.rec, nil, c.r); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, %v; want %q", name, got.FrequenciesHz, err, c.want)
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := shock.Of(ctx, recording(), nil, shock.Request{}); err == nil {
		t.Error("an ended context is not noticed")
	}
}

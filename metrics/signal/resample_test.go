package signal_test

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os/exec"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/signal"
)

// uneven is a recording of one channel at times that scatter.
func uneven(seed uint64, n int, of func(t float64) float64) *signal.Recording {
	r := rand.New(rand.NewPCG(seed, 5))
	rec := &signal.Recording{Uneven: true, Channels: []signal.Channel{{Name: "ax"}}}
	t := -0.02
	for range n {
		rec.TimeS = append(rec.TimeS, t)
		rec.Channels[0].Values = append(rec.Channels[0].Values, of(t))
		t += 50e-6 * (0.2 + 1.6*r.Float64())
	}
	return rec
}

// Against scipy.interpolate.PchipInterpolator, which is the same method written by
// others; scattered values force every case of the slopes.
func TestResampleAgainstScipy(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for name, rec := range map[string]*signal.Recording{
		"scattered":   uneven(1, 200, func(float64) float64 { return math.Round(3 * r.NormFloat64()) }),
		"smooth":      uneven(2, 200, func(t float64) float64 { return math.Sin(400 * t) }),
		"three":       uneven(3, 3, func(t float64) float64 { return t * t }),
		"two":         uneven(4, 2, func(t float64) float64 { return t }),
		"steep start": uneven(5, 4, func(t float64) float64 { return math.Exp(-(t + 0.02) * 1e5) }),
	} {
		got, err := rec.Resample(33_000)
		if err != nil {
			t.Fatal(err)
		}
		var at []float64
		for i := range got.Len() {
			at = append(at, min(got.At(i), rec.TimeS[len(rec.TimeS)-1]))
		}
		text, err := json.Marshal(map[string][]float64{"t": rec.TimeS, "v": rec.Channels[0].Values, "at": at})
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.CommandContext(t.Context(), "/usr/bin/python3", "../../testdata/pchip.py")
		cmd.Stdin = bytes.NewReader(text)
		var stderr bytes.Buffer
		cmd.Stderr = &stderr
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("pchip.py (apt-get install python3-scipy): %v\n%s", err, stderr.String())
		}
		var want []float64
		if err := json.Unmarshal(out, &want); err != nil {
			t.Fatal(err)
		}
		if len(want) != got.Len() || got.TimeS != nil || got.RateHz != 33_000 || got.StartS != rec.TimeS[0] {
			t.Fatalf("%s: %d values, scipy %d", name, got.Len(), len(want))
		}
		for i, v := range got.Channels[0].Values {
			if math.Abs(v-want[i]) > 1e-12 {
				t.Errorf("%s: value %d is %.15g, scipy %.15g", name, i, v, want[i])
			}
		}
	}
}

// No value lies outside those of its neighbours, and samples that fall on the grid
// are kept.
func TestResampleMakesUpNoPeak(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 40).Draw(t, "n")
		rec := &signal.Recording{Channels: []signal.Channel{{}}}
		at := 0
		for range n {
			rec.TimeS = append(rec.TimeS, float64(at)/1024)
			rec.Channels[0].Values = append(rec.Channels[0].Values, rapid.Float64Range(-100, 100).Draw(t, "v"))
			at += rapid.IntRange(1, 6).Draw(t, "step")
		}
		got, err := rec.Resample(4096)
		if err != nil {
			t.Fatal(err)
		}
		v := rec.Channels[0].Values
		for i, x := range got.Channels[0].Values {
			k, exact := slices.BinarySearch(rec.TimeS, got.At(i))
			if exact && x != v[k] {
				t.Fatalf("sample %d: %g, was %g", k, x, v[k])
			}
			if !exact && (x < min(v[k-1], v[k])-1e-9 || x > max(v[k-1], v[k])+1e-9) {
				t.Fatalf("%g between samples of %g and %g", x, v[k-1], v[k])
			}
		}
	})
}

func TestResampleRefuses(t *testing.T) {
	rec := uneven(1, 100, math.Sin)
	for _, rate := range []float64{0, -1, math.NaN(), math.Inf(1), 1e15} {
		if got, err := rec.Resample(rate); err == nil {
			t.Errorf("%g Hz gave %d values", rate, got.Len())
		}
	}
	one := &signal.Recording{TimeS: []float64{0}, Channels: []signal.Channel{{Values: []float64{1}}}}
	if _, err := one.Resample(1000); err == nil {
		t.Error("one sample was resampled")
	}
	even := &signal.Recording{RateHz: 1000, Channels: []signal.Channel{{Values: make([]float64, 5)}}}
	if got, err := even.Resample(2000); err != nil || got != even {
		t.Errorf("an even recording became %v, %v", got, err)
	}
}

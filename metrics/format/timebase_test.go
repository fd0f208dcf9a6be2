package format_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"thudbook/metrics/format"
)

// series writes n rows whose times are start + i/rate, printed by verb.
func series(n int, verb string, at func(i int) float64) string {
	var b strings.Builder
	b.WriteString("t,ax,wz\n")
	for i := range n {
		fmt.Fprintf(&b, verb+",1,2\n", at(i))
	}
	return b.String()
}

func TestEvenTimes(t *testing.T) {
	grid := func(start, rate float64) func(int) float64 {
		return func(i int) float64 { return start + float64(i)/rate }
	}
	tests := []struct {
		name, unit  string
		text        string
		start, rate float64
		startTol    float64
	}{
		{"full digits", "s", series(2400, "%v", grid(-0.02, 20000)), -0.02, 20000, 0},
		{"five decimals", "s", series(2400, "%.5f", grid(-0.02, 20000)), -0.02, 20000, 0},
		{"six digits", "s", series(40000, "%.6g", grid(-0.02, 20000)), -0.02, 20000, 0},
		{"four decimals, a tenth of a millisecond for steps of half as much", "s", series(2400, "%.4f", grid(0, 20000)), 0, 20000, 5e-5},
		{"five decimals at 100 kHz", "s", series(2400, "%.5f", grid(0, 100000)), 0, 100000, 0},
		{"six decimals at 44.1 kHz", "s", series(2400, "%.6f", grid(0, 44100)), 0, 44100, 0},
		{"nine decimals at 12.8 kHz", "s", series(2400, "%.9f", grid(0.5, 12800)), 0.5, 12800, 0},
		{"a step of 30 µs", "us", series(500, "%.0f", func(i int) float64 { return float64(30 * i) }), 0, 1e6 / 30, 0},
		{"whole microseconds", "us", series(500, "%.0f", func(i int) float64 { return float64(50*i - 1000) }), -0.001, 20000, 0},
		{"milliseconds", "ms", series(500, "%.2f", func(i int) float64 { return float64(i)*0.05 - 20 }), -0.02, 20000, 0},
		{"milliseconds, exponent", "ms", series(500, "%.6e", func(i int) float64 { return float64(i)*0.05 - 20 }), -0.02, 20000, 0},
		{"two rows", "s", "t,ax,wz\n0,1,2\n0.00004,1,2\n", 0, 25000, 0},
		{"single precision", "s", series(20000, "%.20f", func(i int) float64 { return float64(float32(float64(i) / 20000)) }), 0, 20000, 1e-7},
		{"summed up with rounding", "s", summed(20000), 0, 20000, 1e-9},
		{"clock that jitters by four parts in ten thousand", "s", jitter(2400, 2e-4), 0, 20000, 1e-5},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			m := rigMap()
			m.Time.Unit = tc.unit
			r, err := read(t, tc.text, m)
			if err != nil {
				t.Fatal(err)
			}
			rec := r.Recording
			if rec.Uneven || rec.TimeS != nil {
				t.Fatal("taken for uneven")
			}
			if math.Abs(rec.StartS-tc.start) > tc.startTol {
				t.Errorf("start = %.17g s, want %g", rec.StartS, tc.start)
			}
			tol := 0.0
			if strings.Contains(tc.name, "jitters") {
				tol = 1e-5 * tc.rate
			}
			if math.Abs(rec.RateHz-tc.rate) > tol {
				t.Errorf("rate = %.17g Hz, want %.17g", rec.RateHz, tc.rate)
			}
		})
	}
}

func summed(n int) string {
	sum := 0.0
	return series(n, "%v", func(int) float64 { s := sum; sum += 5e-5; return s })
}

func jitter(n int, relative float64) string {
	rng := rand.New(rand.NewPCG(3, 4))
	return series(n, "%.12f", func(i int) float64 { return (float64(i) + relative*(2*rng.Float64()-1)) / 20000 })
}

func TestUnevenTimes(t *testing.T) {
	gap := func(i int) float64 {
		if i >= 1000 {
			i++
		}
		return float64(i) / 20000
	}
	tests := []struct {
		name, text string
		rate       float64
	}{
		{"one sample missing", series(2400, "%.5f", gap), 20000},
		{"one sample missing, printed coarsely", series(2400, "%.4f", func(i int) float64 { return gap(gap2(i)) }), 0},
		{"clock that jitters by a hundredth", jitter(2400, 1e-2), 0},
		{"rate changes half-way", series(2400, "%.7f", func(i int) float64 { return float64(i)/20000 + float64(max(0, i-1200))/40000 }), 0},
		{"clock that drifts", series(20000, "%.9f", func(i int) float64 { x := float64(i) / 20000; return x + 4e-4*x*(1-x) }), 0},
		{"three whole numbers", "t,ax,wz\n0,1,2\n1,1,2\n3,1,2\n", 0},
		{"repeated times", "t,ax,wz\n0,1,2\n0,1,2\n0.001,1,2\n0.001,1,2\n0.003,1,2\n", 1 / 0.0015},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			r, err := read(t, tc.text, rigMap())
			if err != nil {
				t.Fatal(err)
			}
			rec := r.Recording
			if !rec.Uneven || len(rec.TimeS) != r.Rows || rec.StartS != rec.TimeS[0] {
				t.Fatalf("uneven %t, %d times of %d rows", rec.Uneven, len(rec.TimeS), r.Rows)
			}
			if rec.RateHz <= 0 || math.IsInf(rec.RateHz, 0) {
				t.Errorf("rate %v", rec.RateHz)
			}
			if tc.rate > 0 && math.Abs(rec.RateHz-tc.rate) > 1e-6*tc.rate {
				t.Errorf("median rate %v, want %v", rec.RateHz, tc.rate)
			}
		})
	}
}

// gap2 drops ten more samples, so that coarse print cannot hide them.
func gap2(i int) int {
	if i >= 500 {
		return i + 10
	}
	return i
}

func TestRateOfTheMap(t *testing.T) {
	m := rigMap()
	m.Time.Column, m.Time.Unit, m.Time.RateHz = "", "", 12800
	r, err := read(t, "ax,wz\n1,2\n3,4\n5,6\n", m)
	if err != nil || r.Recording.RateHz != 12800 || r.Recording.StartS != 0 || r.Recording.TimeS != nil || r.Recording.Len() != 3 {
		t.Errorf("Read = %+v, %v", r, err)
	}
	r, err = read(t, "ax,wz\nx,2\n3,4\n5,6\n", m)
	if err != nil || len(r.Faults) != 1 || r.Faults[0].Line != 2 || r.Rows != 3 {
		t.Errorf("text in the first row without a time column: %+v, %v", r, err)
	}
	m.Channels = m.Channels[:1]
	r, err = read(t, "ax\n0.5\n1\n2\n", m)
	if err != nil || r.Rows != 3 || r.Recording.Channels[0].Values[0] != 0.5 {
		t.Errorf("one column: %+v, %v", r, err)
	}
	r, err = read(t, "ax\n0,5\n1,25\n-2,0\n", m)
	if err != nil || r.Rows != 3 || r.Recording.Channels[0].Values[1] != 1.25 {
		t.Errorf("one column with decimal comma: %+v, %v", r, err)
	}
	if _, err := format.Read(t.Context(), strings.NewReader("ax\n1\n"), format.Options{Map: m}); err != nil {
		t.Errorf("one row with a known rate: %v", err)
	}
}

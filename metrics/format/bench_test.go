package format_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
	"time"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/format"
)

// shot is a file of 12 channels and n samples at 20 kHz, with numbers printed
// by verb.
func shot(n int, verb string) ([]byte, *chanmap.Map) {
	rng := rand.New(rand.NewPCG(5, 6))
	m := &chanmap.Map{Time: chanmap.Time{Column: "t", Unit: "s"}}
	var b bytes.Buffer
	b.WriteString("t")
	for i := range 12 {
		name := fmt.Sprintf("c%d", i)
		fmt.Fprintf(&b, ",%s", name)
		m.Channels = append(m.Channels, chanmap.Channel{Column: name, Measures: "linear acceleration", Axis: "x", Unit: "g"})
	}
	b.WriteByte('\n')
	for i := range n {
		fmt.Fprintf(&b, "%.5f", float64(i)/20000-0.02)
		for j := range 12 {
			fmt.Fprintf(&b, ","+verb, 100*math.Sin(float64(i*(j+1))/500)+rng.NormFloat64())
		}
		b.WriteByte('\n')
	}
	return b.Bytes(), m
}

// plainRead is the baseline: the standard library's reader and parser.
func plainRead(b *testing.B, text []byte) int {
	r := csv.NewReader(bytes.NewReader(text))
	r.ReuseRecord = true
	if _, err := r.Read(); err != nil {
		b.Fatal(err)
	}
	var cols [13][]float64
	for {
		rec, err := r.Read()
		if err == io.EOF {
			return len(cols[0])
		}
		if err != nil {
			b.Fatal(err)
		}
		for i, s := range rec {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				b.Fatal(err)
			}
			cols[i] = append(cols[i], v)
		}
	}
}

// BenchmarkRead compares reading a shot with encoding/csv and strconv on the
// same bytes, alternating in the same run; "times_faster" is the ratio.
func BenchmarkRead(b *testing.B) {
	for _, verb := range []string{"%.7g", "%v", "%.18e"} {
		b.Run(verb, func(b *testing.B) {
			text, m := shot(10_000, verb)
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			var ours, theirs time.Duration
			for b.Loop() {
				start := time.Now()
				r, err := format.Read(b.Context(), bytes.NewReader(text), format.Options{Map: m})
				ours += time.Since(start)
				if err != nil || r.Rows != 10_000 || len(r.Faults) > 0 {
					b.Fatal(err, r)
				}
				b.StopTimer()
				start = time.Now()
				if n := plainRead(b, text); n != 10_000 {
					b.Fatal(n)
				}
				theirs += time.Since(start)
				b.StartTimer()
			}
			b.ReportMetric(float64(theirs)/float64(ours), "times_faster")
		})
	}
}

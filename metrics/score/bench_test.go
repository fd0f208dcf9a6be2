//go:build unix

package score_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"syscall"
	"testing"
	"time"

	"thudbook/metrics/cfc"
	"thudbook/metrics/chanmap"
	"thudbook/metrics/format"
	"thudbook/metrics/impact"
	"thudbook/metrics/ram"
	"thudbook/metrics/score"
	"thudbook/metrics/scratch"
	"thudbook/metrics/signal"
)

const benchShots = 20

// benchMap binds the twelve channels of a bench shot, all of them filtered.
func benchMap() *chanmap.Map {
	m := shotMap()
	for _, axis := range []string{"x", "y", "z"} {
		m.Channels = append(m.Channels, chanmap.Channel{Column: "b" + axis, Measures: "linear acceleration", Axis: axis, Unit: "g", CFC: 1000})
	}
	for i := range m.Channels {
		if m.Channels[i].Column == "gate" {
			m.Channels[i].CFC = 1000
		}
	}
	m.Channels = append(m.Channels,
		chanmap.Channel{Column: "pressure", Measures: "pressure", Unit: "kPa", CFC: 1000},
		chanmap.Channel{Column: "force", Measures: "force", Unit: "N", CFC: 1000})
	return m
}

// writeBenchShots writes invented shots of 12 channels × 10,000 samples at 20 kHz.
func writeBenchShots(b *testing.B) (paths []string) {
	b.Helper()
	dir := b.TempDir()
	for k := range benchShots {
		r := rand.New(rand.NewPCG(uint64(k), 12))
		gains := []float64{90, 30, -40, 10, -28, 14, 90, 30, -40, 0, 0, 4000}
		text := []byte("t,ax,ay,az,wx,wy,wz,bx,by,bz,gate,pressure,force\n")
		for i := range 10000 {
			s := float64(i)/20000 - 0.05
			text = strconv.AppendFloat(text, s, 'f', 5, 64)
			for c, gain := range gains {
				v := gain / 150 * r.NormFloat64()
				switch {
				case c >= 3 && c < 6:
					if s > 0 {
						v += gain * (1 - math.Exp(-s*s*1e4)) * math.Exp(-s*25)
					}
				case c == 9:
					v = 0.02 * r.NormFloat64()
					if s > -0.008 && s < -0.003 {
						v += 5
					}
				case c == 10:
					v = 140 + r.NormFloat64()
				case s > 0 && s < 0.011:
					v += gain * math.Sin(math.Pi*s/0.011)
				}
				text = append(text, ',')
				text = strconv.AppendFloat(text, v, 'g', 7, 64)
			}
			text = append(text, '\n')
		}
		path := filepath.Join(dir, fmt.Sprintf("shot%02d.csv", k))
		if err := os.WriteFile(path, text, 0o600); err != nil {
			b.Fatal(err)
		}
		paths = append(paths, path)
	}
	return paths
}

// baseline is what testdata/bench/score.py prints.
type baseline struct {
	Wall    float64            // seconds per shot
	CPU     float64            // processor seconds per shot
	Stages  map[string]float64 // processor seconds
	Results map[string]float64
}

// runBaseline scores the same files with pandas, numpy and scipy.
func runBaseline(b *testing.B, paths []string) baseline {
	b.Helper()
	script := filepath.Join(signals, "bench", "score.py")
	for _, p := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(p, "-c", "import pandas, scipy.signal").Run() != nil {
			continue
		}
		var stderr bytes.Buffer
		cmd := exec.CommandContext(b.Context(), p, append([]string{script}, paths...)...)
		cmd.Stderr = &stderr
		out, err := cmd.Output()
		if err != nil {
			b.Fatalf("score.py: %v\n%s", err, stderr.String())
		}
		var got baseline
		if err := json.Unmarshal(out, &got); err != nil {
			b.Fatal(err)
		}
		return got
	}
	b.Fatal("the baseline needs pandas and scipy: apt-get install python3-pandas python3-scipy")
	return baseline{}
}

// BenchmarkScoreAgainstScipy scores shots of 12 channels × 10,000 samples from text
// to all metrics on one core, and gives the ratio to the script in testdata/bench on
// the same files in the same run. The digest of the bytes, the flags and the
// uncertainties are made here and not there. Ratios are of processor time, which a
// busy machine disturbs least; that of wall time stands beside it.
func BenchmarkScoreAgainstScipy(b *testing.B) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	paths, m := writeBenchShots(b), benchMap()
	before := runBaseline(b, paths)
	var last score.Report
	b.ReportAllocs()
	var took []float64
	k, busy := 0, cpuSeconds(b)
	for b.Loop() {
		start := time.Now()
		f, err := os.Open(paths[k%len(paths)])
		if err != nil {
			b.Fatal(err)
		}
		info, err := f.Stat()
		if err != nil {
			b.Fatal(err)
		}
		last = score.Score(b.Context(), f, score.Options{Name: paths[k%len(paths)], Map: m, Size: info.Size(), ResultsOnly: true})
		f.Close()
		took = append(took, time.Since(start).Seconds())
		if last.Error != nil || len(last.Results) != len(contract) {
			b.Fatalf("%v, %v", last.Error, names(last))
		}
		k++
	}
	ours := (cpuSeconds(b) - busy) / float64(b.N)
	after := runBaseline(b, paths)
	agree(b, paths[0], m, before.Results)
	theirs := (before.CPU + after.CPU) / 2
	b.ReportMetric(1000*ours, "ms/shot")
	b.ReportMetric(1000*theirs, "scipy-ms/shot")
	b.ReportMetric(theirs/ours, "times-faster")
	b.ReportMetric((before.Wall+after.Wall)/2/median(took), "wall-times-faster")
	rest := ours
	for name, seconds := range stages(b, paths[0], m) {
		rest -= seconds
		b.ReportMetric(1e6*seconds, name+"-µs")
		if theirs := (before.Stages[name] + after.Stages[name]) / 2; theirs > 0 {
			b.ReportMetric(theirs/seconds, name+"-times")
		}
	}
	b.ReportMetric(1e6*rest, "rest-µs")
	b.ReportMetric((before.Stages["rest"]+after.Stages["rest"])/2/rest, "rest-times")
}

// agree makes sure that both did the same work.
func agree(b *testing.B, path string, m *chanmap.Map, want map[string]float64) {
	b.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		b.Fatal(err)
	}
	rep := score.Score(b.Context(), bytes.NewReader(text), score.Options{Map: m})
	for name, r := range rep.Results {
		w, ok := want[name]
		// the script's clip does not interpolate, and its gate takes the maximum as level
		if tolerance := map[string]float64{"clip_3ms": 0.01, "impact_speed": 0.01, "ram_energy": 0.02}[name] + 1e-4; !ok || math.Abs(r.Value-w) > tolerance*math.Abs(w) {
			b.Errorf("%s: %g here, %g by the script", name, r.Value, w)
		}
	}
}

// stages times the parts on their own. What the script does not do has no ratio:
// the digest of the bytes, and looking for what is wrong with a channel.
func stages(b *testing.B, path string, m *chanmap.Map) map[string]float64 {
	b.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		b.Fatal(err)
	}
	rep := score.Score(b.Context(), bytes.NewReader(text), score.Options{Map: m})
	rec := rep.Detail.Raw
	byClass := map[int][][]float64{}
	for i := range rec.Channels {
		class := rec.Channels[i].CFC
		byClass[class] = append(byClass[class], copied(rec.Channels[i].Values))
	}
	trace := impact.Trace{RateHz: rec.RateHz, Values: rep.Detail.Linear}
	var work cfc.Scratch
	return map[string]float64{
		"read": timed(b, func() {
			got, err := format.Read(b.Context(), bytes.NewReader(text), format.Options{Map: m})
			if err != nil {
				b.Fatal(err)
			}
			for _, ch := range got.Recording.Channels {
				scratch.Free(ch.Values)
			}
		}),
		"digest": timed(b, func() { sha256.Sum256(text) }),
		"inspect": timed(b, func() {
			for i := range rec.Channels {
				signal.Inspect(&rec.Channels[i])
			}
		}),
		"gate": timed(b, func() {
			for i := range rec.Channels {
				if rec.Channels[i].Measures == signal.LightGate {
					if _, err := ram.MeasurePassage(rec, &rec.Channels[i]); err != nil {
						b.Fatal(err)
					}
				}
			}
		}),
		"filter": timed(b, func() {
			for class, group := range byClass {
				for _, x := range group {
					signal.Mean(x[:300])
				}
				f, err := cfc.Design(class, rec.RateHz)
				if err != nil {
					b.Fatal(err)
				}
				f.Apply(group, group, &work)
			}
		}),
		"hic": timed(b, func() {
			sums := impact.NewCumulative(trace, nil)
			sums.FindHIC(impact.HIC36WindowS, sums.FindHIC(impact.HIC15WindowS, impact.HIC{}))
		}),
		"clip": timed(b, func() { impact.FindClip(trace, impact.Clip3MSDurationS) }),
	}
}

// median as the script takes it, so that a busy machine disturbs both alike.
func median(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
}

func copied(v []float64) []float64 { return append([]float64(nil), v...) }

// timed is the mean processor time of f in seconds over a fifth of a second.
func timed(b *testing.B, f func()) float64 {
	b.Helper()
	f()
	n, start := 0, cpuSeconds(b)
	for cpuSeconds(b)-start < 0.2 {
		f()
		n++
	}
	return (cpuSeconds(b) - start) / float64(n)
}

// cpuSeconds is the processor time that this process has used.
func cpuSeconds(b *testing.B) float64 {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	seconds := func(t syscall.Timeval) float64 { return float64(t.Sec) + float64(t.Usec)/1e6 }
	return seconds(u.Utime) + seconds(u.Stime)
}

// BenchmarkScore is the same without the baseline, for profiles.
func BenchmarkScore(b *testing.B) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	text, err := os.ReadFile(writeBenchShots(b)[0])
	if err != nil {
		b.Fatal(err)
	}
	m := benchMap()
	b.ReportAllocs()
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if rep := score.Score(b.Context(), bytes.NewReader(text), score.Options{Map: m, ResultsOnly: true}); rep.Error != nil {
			b.Fatal(rep.Error)
		}
	}
}

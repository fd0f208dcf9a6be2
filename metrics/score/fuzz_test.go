package score_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/score"
)

// Whatever the bytes, scoring ends with a report that can be printed, whose digest
// is that of the bytes and whose numbers are finite.
func FuzzScore(f *testing.F) {
	lines := strings.SplitAfter(newShot().csv(), "\n")
	for _, seed := range []string{
		"", "\n", "t,ax\n", "t,ax,ay,az\n0,1,2,3\n0.1,1,2,3\n", "t;ax\n0;1,5\n1;2,5\n",
		strings.Join(lines[:40], ""), strings.Join(lines[:3], "") + "0.1,NaN,inf,-inf,1e308,1e-308,,\n",
		"t,ax,ay,az\n0,1e300,1e300,1e300\n0.001,1e300,-1e300,1e300\n0.002,0,0,0\n0.003,0,0,0\n0.004,0,0,0\n0.005,0,0,0\n",
		"t,wx,wy,wz\n0,1,1,1\n1e-300,2,2,2\n2e-300,3,3,3\n3e-300,9,9,9\n4e-300,9,9,9\n5e-300,0,0,0\n", "t,ax,ay,az,wx,wy,wz\n0,1,1,1,1,1,1\n1e300,2,2,2,2,2,2\n2e300,3,3,3,3,3,3\n3e300,9,9,9,9,9,9\n4e300,9,9,9,8,8,8\n5e300,0,0,0,7,7,7\n", "t,ax\n1e300,1\n2e300,2\n3e300,3\n", "t,ax\n0,1\n0,2\n0,3\n", "t,wx,wy,wz\n0,1,1,1\n1e-9,2,2,2\n2e-9,3,3,3\n3e-9,9,9,9\n4e-9,9,9,9\n5e-9,0,0,0\n",
	} {
		f.Add([]byte(seed), false)
		f.Add([]byte(seed), true)
	}
	if text, err := os.ReadFile(filepath.Join(signals, "motorcycle-helmet.csv")); err == nil {
		f.Add(text, false)
	}
	f.Fuzz(func(t *testing.T, text []byte, mapped bool) {
		o := score.Options{Name: "fuzz", MaxSamples: 1 << 16}
		if mapped {
			o.Map = shotMap()
		}
		rep := score.Score(t.Context(), bytes.NewReader(text), o)
		checkReport(t, rep)
		if sum := sha256.Sum256(text); rep.SHA256 != hex.EncodeToString(sum[:]) {
			t.Fatal("the digest is not that of the bytes")
		}
		a, okA := rep.Results["hic15"]
		b, okB := rep.Results["hic36"]
		if okA != okB || a.Value > b.Value {
			t.Fatalf("HIC15 %g, HIC36 %g", a.Value, b.Value)
		}
	})
}

// Turning the head axes changes no metric of a resultant; it does change BrIC.
func TestRotationInvariance(t *testing.T) {
	plain := scoreText(t, newShot().csv(), score.Options{Map: shotMap()})
	rapid.Check(t, func(r *rapid.T) {
		turn := [3]float64{rapid.Float64Range(-3, 3).Draw(r, "x"), rapid.Float64Range(-3, 3).Draw(r, "y"), rapid.Float64Range(-3, 3).Draw(r, "z")}
		s := newShot()
		for i := range shotSamples {
			for at := 0; at < 6; at += 3 {
				v := rotate(turn, [3]float64{s.values[at][i], s.values[at+1][i], s.values[at+2][i]})
				for k := range 3 {
					s.values[at+k][i] = v[k]
				}
			}
		}
		rep := scoreText(t, s.csv(), score.Options{Map: shotMap()})
		for _, name := range []string{"peak_linear_acceleration", "severity_index", "hic15", "hic36", "clip_3ms", "impact_duration",
			"velocity_change", "peak_angular_velocity", "peak_angular_acceleration", "gambit"} {
			a, b := plain.Results[name].Value, rep.Results[name].Value
			if math.Abs(a-b) > 1e-3*a { // the file holds five digits
				r.Fatalf("%s: %g, turned %g", name, a, b)
			}
		}
	})
}

// rotate turns a vector about x, then y, then z.
func rotate(turn, v [3]float64) [3]float64 {
	for k := range 3 {
		p, q := (k+1)%3, (k+2)%3
		s, c := math.Sincos(turn[k])
		v[p], v[q] = c*v[p]-s*v[q], s*v[p]+c*v[q]
	}
	return v
}

// A later start of the clock moves times and changes no value; k times the linear
// signals gives k times the peak and k^2.5 times HIC.
func TestShiftAndScale(t *testing.T) {
	plain := scoreText(t, newShot().csv(), score.Options{Map: shotMap()})
	rapid.Check(t, func(r *rapid.T) {
		shift := float64(rapid.IntRange(-1000, 1000).Draw(r, "shift in ms")) / 1000
		k := rapid.Float64Range(1, 4).Draw(r, "factor")
		s := newShot()
		s.startS += shift
		for c := range 3 {
			for i := range s.values[c] {
				s.values[c][i] *= k
			}
		}
		rep := scoreText(t, s.csv(), score.Options{Map: shotMap()})
		for name, factor := range map[string]float64{"peak_linear_acceleration": k, "hic15": math.Pow(k, 2.5), "hic36": math.Pow(k, 2.5),
			"clip_3ms": k, "damage": 1, "bric": 1, "impact_speed": 1} {
			a, b := plain.Results[name], rep.Results[name]
			if math.Abs(factor*a.Value-b.Value) > 1e-3*b.Value {
				r.Fatalf("%s: %g, with factor %g %g", name, a.Value, k, b.Value)
			}
			if a.FromS != nil && math.Abs(*b.FromS-*a.FromS-shift) > 1e-4 {
				r.Fatalf("%s: begins at %g s, shifted by %g at %g s", name, *a.FromS, shift, *b.FromS)
			}
		}
	})
}

package score_test

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/score"
)

const signals = "../../testdata"

// loadMap reads a channel map of testdata.
func loadMap(t testing.TB, name string) *chanmap.Map {
	t.Helper()
	f, err := os.Open(filepath.Join(signals, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := chanmap.Parse(f, name)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// scoreFile scores a file of testdata with its map.
func scoreFile(t testing.TB, name string) score.Report {
	t.Helper()
	f, err := os.Open(filepath.Join(signals, name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rep := score.Score(t.Context(), f, score.Options{Name: name + ".csv", Map: loadMap(t, name+".map.toml")})
	if rep.Error != nil {
		t.Fatalf("%s: %v (cause %v)", name, rep.Error, rep.Detail.Cause)
	}
	return rep
}

var invented = []string{"frontal-9ms", "oblique-double", "short-hard"}

// Expected values by an independent script on numpy 1.24 and scipy 1.10, see
// testdata/README.md: within 0.1 %, what rests on angular acceleration 0.5 %.
func TestInventedSignals(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(signals, "expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	var expected map[string]struct {
		BaselineMS float64 `json:"baseline_ms"`
		Results    map[string]float64
	}
	if err := json.Unmarshal(text, &expected); err != nil {
		t.Fatal(err)
	}
	for _, name := range invented {
		want := expected[name+".csv"]
		if m := loadMap(t, name+".map.toml"); m.Processing.BaselineMS != want.BaselineMS || len(want.Results) < 11 {
			t.Fatalf("%s: baseline %g ms in the map, %g expected, %d values", name, m.Processing.BaselineMS, want.BaselineMS, len(want.Results))
		}
		compare(t, name, scoreFile(t, name), want.Results, map[string]float64{"peak_angular_acceleration": 5e-3, "gambit": 5e-3}, 1e-3)
	}
}

// compare checks every expected value against the report.
func compare(t *testing.T, name string, rep score.Report, want map[string]float64, own map[string]float64, tolerance float64) {
	t.Helper()
	for metric, value := range want {
		got, ok := rep.Results[metric]
		if !ok {
			t.Errorf("%s: %s is missing", name, metric)
			continue
		}
		limit := tolerance
		if own[metric] > 0 {
			limit = own[metric]
		}
		if math.Abs(got.Value-value) > limit*math.Abs(value) {
			t.Errorf("%s: %s = %.8g, expected %.8g within %g", name, metric, got.Value, value, limit)
		}
	}
}

// Python of Debian, where python3-scipy is installed.
func python(t *testing.T) string {
	t.Helper()
	for _, p := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(p, "-c", "import scipy.signal").Run() == nil {
			return p
		}
	}
	t.Fatal("the comparison with scipy needs it: apt-get install python3-scipy")
	return ""
}

// The script testdata/reference.py computes every metric anew with numpy and
// scipy, by other methods: filtfilt, all pairs, bisection, lsim. Same data, same
// definitions, so they agree far closer than the tolerances above.
func TestAgainstScipy(t *testing.T) {
	args := []string{filepath.Join(signals, "reference.py")}
	names := append(slices.Clone(invented), "motorcycle-helmet")
	for _, name := range names {
		m := loadMap(t, name+".map.toml")
		args = append(args, filepath.Join(signals, name+".csv"), strconv.FormatFloat(m.Processing.BaselineMS, 'g', -1, 64))
	}
	var stderr bytes.Buffer
	cmd := exec.CommandContext(t.Context(), python(t), args...)
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("reference.py: %v\n%s", err, stderr.String())
	}
	var reference map[string]map[string]float64
	if err := json.Unmarshal(out, &reference); err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		want := reference[name+".csv"]
		if len(want) < 9 {
			t.Fatalf("%s: the script gave %d values", name, len(want))
		}
		rep := scoreFile(t, name)
		compare(t, name, rep, want, nil, 1e-6)
		for metric := range rep.Results {
			if _, ok := want[metric]; !ok {
				t.Errorf("%s: %s has no reference", name, metric)
			}
		}
	}
}

// Head acceleration in simulated motorcycle accidents: Schmidt, Mattern and
// Schüler 1981; Silverman, J. R. Statist. Soc. B 47 (1985) 1-52. The values are
// those of averaging repeated times, the magnitude, and the trapezoid rule.
func TestMotorcycleHelmet(t *testing.T) {
	rep := scoreFile(t, "motorcycle-helmet")
	check := func(what string, got, want, tolerance float64) {
		t.Helper()
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s = %.6g, want %.6g", what, got, want)
		}
	}
	r := rep.Results
	check("peak", r["peak_linear_acceleration"].Value, 134, 1e-9)
	check("severity index", r["severity_index"].Value, 1079.61, 0.01)
	check("begins", *r["severity_index"].FromS, 0.0148, 1e-9)
	check("ends", *r["severity_index"].ToS, 0.0276, 1e-9)
	for _, h := range []string{"hic15", "hic36"} {
		check(h, r[h].Value, 951.80, 0.01)
		check(h+" from", *r[h].FromS, 0.0166, 1e-9)
		check(h+" to", *r[h].ToS, 0.0246, 1e-9)
	}
	filtered := rep.Detail.Filtered
	if filtered.Len() != 94 || rep.Detail.Raw.Len() != 133 {
		t.Errorf("%d instants from %d samples, want 94 from 133", filtered.Len(), rep.Detail.Raw.Len())
	}
	a := filtered.Channels[0].Values
	check("greatest", slices.Max(a), 75, 1e-9)
	check("least", slices.Min(a), -134, 1e-9)
	whole, signed := 0.0, 0.0
	for i := 1; i < len(a); i++ {
		step := filtered.At(i) - filtered.At(i-1)
		whole += step * (math.Pow(math.Abs(a[i]), 2.5) + math.Pow(math.Abs(a[i-1]), 2.5)) / 2
		signed += 9.80665 * step * (a[i] + a[i-1]) / 2
	}
	check("integral of |a|^2.5 over the record", whole, 1203.62, 0.01)
	check("signed integral in m/s", signed, -7.689, 0.001)
	for _, code := range []score.FlagCode{score.UnevenSampling, score.Unfiltered, score.IncompleteTriad, score.NoBaseline} {
		if !rep.Has(code) {
			t.Errorf("flag %s is missing: %+v", code, rep.Flags)
		}
	}
	if _, ok := r["peak_angular_velocity"]; ok {
		t.Error("a metric of angular velocity without such a channel")
	}
}

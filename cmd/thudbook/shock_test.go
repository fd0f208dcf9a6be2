package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// shockLine is the outside shape of a line of `shock --json`, written here anew so
// that a renamed field in the program fails the test.
type shockLine struct {
	File     string
	SHA256   string `json:"sha256"`
	Error    *struct{ Code, What, Fix string }
	Q        float64
	Damping  float64 `json:"damping_ratio"`
	Channels []struct {
		Channel, Axis string
		CFC           int
		Points        []struct {
			FrequencyHz      float64 `json:"frequency_hz"`
			MaximaxG         float64 `json:"maximax_g"`
			PseudoVelocityMS float64 `json:"pseudo_velocity_m_s"`
		}
		Warnings []struct{ Code, Text string }
	}
	LeftOut []struct{ Channel, Why string } `json:"left_out"`
}

func shockJSON(t *testing.T, wantCode int, args ...string) shockLine {
	t.Helper()
	out, errOut, code := thudbook(t.Context(), t, append([]string{"shock", "--json"}, args...)...)
	if code != wantCode {
		t.Fatalf("exit code %d, want %d\n%s%s", code, wantCode, out, errOut)
	}
	var line shockLine
	if err := json.Unmarshal([]byte(out), &line); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	return line
}

// halfSineFile is a half-sine of 50 g and 11 ms along x, its reverse along y, at 50 kHz.
func halfSineFile(t *testing.T) (data, chart string) {
	t.Helper()
	const rate, n, before, after = 50000.0, 550, 1000, 10000
	var b bytes.Buffer
	b.WriteString("t,ax,ay\ns,g,g\n")
	for i := range before + n + after {
		a := 0.0
		if k := i - before; k > 0 && k < n {
			a = 50 * math.Sin(math.Pi*float64(k)/n)
		}
		fmt.Fprintf(&b, "%.6f,%.9f,%.9f\n", float64(i-before)/rate, a, -a)
	}
	data, chart = filepath.Join(t.TempDir(), "half.csv"), filepath.Join(t.TempDir(), "map.toml")
	text := "name = \"half\"\n[time]\ncolumn = \"t\"\nunit = \"s\"\n[processing]\nbaseline_ms = 15.0\n"
	for _, axis := range []string{"x", "y"} {
		text += fmt.Sprintf("[[channel]]\ncolumn = \"a%s\"\nmeasures = \"linear acceleration\"\naxis = %q\nunit = \"g\"\ncfc = 1000\n", axis, axis)
	}
	for name, content := range map[string]string{data: b.String(), chart: text} {
		if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return data, chart
}

// With hardly any damping the residual of a half-sine is in closed form: for
// p = 2fT below 1 the maximax is A·2p cos(πp/2)/(1 − p²), the ringing after the
// pulse (equation of motion solved by hand).
func TestShockOfHalfSineFile(t *testing.T) {
	data, chart := halfSineFile(t)
	line := shockJSON(t, 0, "--map", chart, "--unfiltered", "--damping", "1e-7", "--from", "10", "--to", "40", data)
	if len(line.Channels) != 2 || line.Error != nil || len(line.SHA256) != 64 {
		t.Fatalf("%+v", line)
	}
	for _, c := range line.Channels {
		if len(c.Points) != 13 || c.CFC != 0 { // two octaves at six, both ends
			t.Fatalf("channel %s: %d points, class %d", c.Channel, len(c.Points), c.CFC)
		}
		for _, pt := range c.Points {
			p := 2 * pt.FrequencyHz * 0.011
			want := 50 * 2 * p * math.Cos(math.Pi*p/2) / (1 - p*p)
			if !(math.Abs(pt.MaximaxG-want) <= 1e-4*want) {
				t.Errorf("channel %s, %g Hz: %g g, want %g (closed form)", c.Channel, pt.FrequencyHz, pt.MaximaxG, want)
			}
			if v := 9.80665 * want / (2 * math.Pi * pt.FrequencyHz); !(math.Abs(pt.PseudoVelocityMS-v) <= 1e-4*v) {
				t.Errorf("channel %s, %g Hz: %g m/s, want %g", c.Channel, pt.FrequencyHz, pt.PseudoVelocityMS, v)
			}
		}
	}
	filtered := shockJSON(t, 0, "--map", chart, data)
	if filtered.Channels[0].CFC != 1000 || filtered.Q != 10 || filtered.Damping != 0.05 {
		t.Errorf("Q %g, ζ %g, class %d", filtered.Q, filtered.Damping, filtered.Channels[0].CFC)
	}
}

func TestShockText(t *testing.T) {
	data, chart := halfSineFile(t)
	out, errOut, code := thudbook(t.Context(), t, "shock", "--map", chart, "--per-octave", "1", "--from", "20", "--to", "160", data)
	lines := strings.Split(out, "\n")
	if code != 0 || len(lines) < 7 || !strings.Contains(lines[1], "Q = 10") || !strings.HasSuffix(lines[2], "ax (x)  ay (y)  largest") {
		t.Fatalf("exit code %d\n%s%s", code, out, errOut)
	}
	for i, f := range []string{"20.0", "40.0", "80.0", "160.0"} {
		if got := strings.Fields(lines[3+i]); len(got) != 4 || got[0] != f || got[1] != got[2] || got[1] != got[3] {
			t.Errorf("line %q; want %s Hz and the same for both channels", lines[3+i], f)
		}
	}
	out, errOut, code = thudbook(t.Context(), t, "shock", "--csv", "--map", chart, "--per-octave", "1", "--from", "20", "--to", "160", data, data)
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || code != 0 || len(rows) != 1+2*2*4 || rows[0][5] != "frequency_hz" || rows[1][0] != data {
		t.Fatalf("exit code %d, %v\n%s%s", code, err, out, errOut)
	}
	if v, err := strconv.ParseFloat(rows[1][6], 64); err != nil || v < 36 || v > 42.1 { // undamped 42.0
		t.Errorf("maximax %q at 20 Hz", rows[1][6])
	}
}

func TestShockBadInput(t *testing.T) {
	data, chart := halfSineFile(t)
	for name, args := range map[string][]string{
		"both":     {"--q", "10", "--damping", "0.1", data},
		"damping":  {"--damping", "2", data},
		"no files": {},
	} {
		if _, errOut, code := thudbook(t.Context(), t, append([]string{"shock"}, args...)...); code != exitUsage || errOut == "" {
			t.Errorf("%s: exit code %d, %q", name, code, errOut)
		}
	}
	if line := shockJSON(t, exitInput, "--map", chart, "--to", "30000", data); line.Error == nil || !strings.Contains(line.Error.What, "25000 Hz at most") {
		t.Errorf("%+v", line.Error)
	}
	if line := shockJSON(t, exitInput, "--map", chart, filepath.Join(t.TempDir(), "none.csv")); line.Error == nil || line.Error.Fix == "" {
		t.Errorf("%+v", line.Error)
	}
	broken := filepath.Join(t.TempDir(), "broken.csv")
	b, err := os.ReadFile(data)
	if err != nil {
		t.Fatal(err)
	}
	rows := strings.Split(string(b), "\n")
	rows[500] = strings.Split(rows[500], ",")[0] + ",0,cable"
	if err := os.WriteFile(broken, []byte(strings.Join(rows, "\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	line := shockJSON(t, exitInput, "--map", chart, broken) // the other channel is still there
	if line.Error == nil || len(line.Channels) != 1 || line.Channels[0].Channel != "ax" || len(line.LeftOut) != 1 || line.LeftOut[0].Channel != "ay" {
		t.Errorf("%+v", line)
	}
}

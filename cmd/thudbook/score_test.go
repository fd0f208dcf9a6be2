package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thudbook/metrics/fault"
)

// contract is the outside shape of a line of `score --json`, written here anew
// so that a renamed field in the program fails the test.
type contract struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	Error  *struct {
		Code, What, Channel, Fix string
		Line, Column             int
	} `json:"error"`
	Flags   []struct{ Code, Channel, Text string } `json:"flags"`
	Results map[string]struct {
		Value               float64
		Unit                string
		ExpandedUncertainty *float64 `json:"expanded_uncertainty"`
		AtS                 *float64 `json:"at_s"`
		FromS               *float64 `json:"from_s"`
		ToS                 *float64 `json:"to_s"`
	} `json:"results"`
}

func (c contract) flag(code string) bool {
	for _, f := range c.Flags {
		if f.Code == code {
			return true
		}
	}
	return false
}

// scoreJSON runs `thudbook score --json` on one file.
func scoreJSON(t *testing.T, wantCode int, args ...string) contract {
	t.Helper()
	out, errOut, code := thudbook(t.Context(), t, append([]string{"score", "--json"}, args...)...)
	if code != wantCode {
		t.Fatalf("exit code %d, want %d\n%s%s", code, wantCode, out, errOut)
	}
	if n := strings.Count(out, "\n"); n != 1 {
		t.Fatalf("%d lines for one file", n)
	}
	var c contract
	if err := json.Unmarshal([]byte(out), &c); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	if !strings.Contains(out, `"error":`) {
		t.Error("the key error is missing; it must be there, null or not")
	}
	return c
}

// TestScoreReferenceSignals compares the command with what an independent
// script on numpy and scipy computed (testdata/expected.json says how).
func TestScoreReferenceSignals(t *testing.T) {
	b, err := os.ReadFile("../../testdata/expected.json")
	if err != nil {
		t.Fatal(err)
	}
	var expected map[string]struct {
		Results map[string]float64 `json:"results"`
	}
	if err := json.Unmarshal(b, &expected); err != nil {
		t.Fatal(err)
	}
	checked := 0
	for name, want := range expected {
		if len(want.Results) == 0 {
			continue
		}
		path := filepath.Join("../../testdata", name)
		got := scoreJSON(t, exitOK, "--map", strings.TrimSuffix(path, ".csv")+".map.toml", path)
		for metric, w := range want.Results {
			tolerance := 1e-3
			if metric == "peak_angular_acceleration" || metric == "gambit" {
				tolerance = 5e-3
			}
			g, ok := got.Results[metric]
			if !ok || math.Abs(g.Value-w) > tolerance*math.Abs(w) {
				t.Errorf("%s %s = %v (there: %v), want %v within %g (numpy, scipy)", name, metric, g.Value, ok, w, tolerance)
			}
			checked++
		}
	}
	if checked < 33 {
		t.Errorf("only %d values were compared, want 11 of each of three signals", checked)
	}
}

// TestScoreMotorcycleHelmet: simulated motorcycle accidents, Schmidt, Mattern
// and Schüler 1981; Silverman, J. R. Statist. Soc. B 47 (1985) 1-52. The
// expected values are those of a plain script: repeated times averaged,
// absolute value, trapezoid rule, g = 9.80665 m/s².
func TestScoreMotorcycleHelmet(t *testing.T) {
	got := scoreJSON(t, exitOK, "--map", "../../testdata/motorcycle-helmet.map.toml", "../../testdata/motorcycle-helmet.csv")
	if !got.flag("uneven_sampling") {
		t.Errorf("no flag uneven_sampling in %v", got.Flags)
	}
	for metric, want := range map[string]float64{"severity_index": 1079.61, "hic15": 951.80, "hic36": 951.80, "peak_linear_acceleration": 134} {
		if v := got.Results[metric].Value; math.Abs(v-want) > 1e-3*want {
			t.Errorf("%s = %v, want %v", metric, v, want)
		}
	}
	hic := got.Results["hic15"]
	if hic.FromS == nil || hic.ToS == nil || math.Abs(*hic.FromS-0.0166) > 1e-9 || math.Abs(*hic.ToS-0.0246) > 1e-9 {
		t.Errorf("HIC window %v to %v s, want 0.0166 to 0.0246", hic.FromS, hic.ToS)
	}
}

// good is a small file that scores without an error: a 5 ms pulse at 20 kHz.
func good() []string {
	lines := []string{"t,ax,ay,az,wx,wy,wz"}
	for i := range 800 {
		a := 0.0
		if i >= 400 && i < 500 {
			a = 80 * math.Sin(math.Pi*float64(i-400)/100)
		}
		lines = append(lines, formatRow(float64(i)/20000, a))
	}
	return lines
}

func formatRow(t, a float64) string {
	b, _ := json.Marshal([]float64{math.Round(t*1e6) / 1e6, math.Round(a*1e4) / 1e4, 0.5, 0.25, a / 4, a / 5, a / 6})
	return strings.Trim(string(b), "[]")
}

func TestScoreBadInput(t *testing.T) {
	dir := t.TempDir()
	edit := func(change func(lines []string) []string) []byte {
		return []byte(strings.Join(change(good()), "\n") + "\n")
	}
	cases := []struct {
		name    string
		content []byte
		code    fault.Code
		line    int
		column  int
		results bool // the other channels are still scored
	}{
		{"empty file", nil, fault.Empty, 0, 0, false},
		{"text in a number column", edit(func(l []string) []string { l[11] = strings.Replace(l[11], ",0.5,", ",broken,", 1); return l }), fault.BadNumber, 12, 3, true},
		{"NaN", edit(func(l []string) []string { l[20] = strings.Replace(l[20], ",0.25,", ",NaN,", 1); return l }), fault.NotFinite, 21, 4, true},
		{"last row cut short", edit(func(l []string) []string { l[len(l)-1] = l[len(l)-1][:9]; return l }), fault.Truncated, 801, 0, true},
		{"row of the wrong width", edit(func(l []string) []string { l[30] = "1,2"; return l }), fault.RowWidth, 31, 0, false},
		{"time running backwards", edit(func(l []string) []string { l[40], l[50] = l[50], l[40]; return l }), fault.TimeBackwards, 42, 1, false},
		{"missing column", edit(func(l []string) []string { l[0] = "t,ax,ay,other,wx,wy,wz"; return l }), fault.MissingColumn, 0, 0, true},
	}
	m := filepath.Join(dir, "map.toml")
	if err := os.WriteFile(m, []byte(smallMap), 0o644); err != nil {
		t.Fatal(err)
	}
	whole := filepath.Join(dir, "whole.csv")
	if err := os.WriteFile(whole, edit(slices.Clone), 0o644); err != nil {
		t.Fatal(err)
	}
	clean := scoreJSON(t, exitOK, "--map", m, whole)
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			path := filepath.Join(dir, strings.ReplaceAll(tc.name, " ", "-")+".csv")
			if err := os.WriteFile(path, tc.content, 0o644); err != nil {
				t.Fatal(err)
			}
			got := scoreJSON(t, exitInput, "--map", m, path)
			if got.Error == nil {
				t.Fatal("no error")
			}
			if got.Error.Code != string(tc.code) || tc.line > 0 && got.Error.Line != tc.line || tc.column > 0 && got.Error.Column != tc.column {
				t.Errorf("error %+v, want code %s at line %d, column %d", *got.Error, tc.code, tc.line, tc.column)
			}
			if got.Error.Fix == "" || got.Error.What == "" {
				t.Errorf("error without sentence or fix: %+v", *got.Error)
			}
			if !tc.results {
				if len(got.Results) > 0 {
					t.Errorf("results %v of a file that cannot be read", got.Results)
				}
				return
			}
			if v := got.Results["peak_angular_velocity"]; v.Unit != "rad/s" || math.Abs(v.Value-clean.Results["peak_angular_velocity"].Value) > 1e-9 {
				t.Errorf("peak angular velocity %v %s, want that of the clean file: its channels are sound", v.Value, v.Unit)
			}
			if _, ok := got.Results["hic15"]; ok != (tc.code == fault.Truncated) {
				t.Errorf("hic15 there: %v, but one of its channels is damaged", ok)
			}
		})
	}
}

const smallMap = `name = "six channels"
[time]
column = "t"
unit = "s"
[[channel]]
column = "ax"
measures = "linear acceleration"
axis = "x"
unit = "g"
cfc = 1000
[[channel]]
column = "ay"
measures = "linear acceleration"
axis = "y"
unit = "g"
cfc = 1000
[[channel]]
column = "az"
measures = "linear acceleration"
axis = "z"
unit = "g"
cfc = 1000
[[channel]]
column = "wx"
measures = "angular velocity"
axis = "x"
unit = "rad/s"
cfc = 180
[[channel]]
column = "wy"
measures = "angular velocity"
axis = "y"
unit = "rad/s"
cfc = 180
[[channel]]
column = "wz"
measures = "angular velocity"
axis = "z"
unit = "rad/s"
cfc = 180
`

func TestScoreWithoutMap(t *testing.T) {
	path := filepath.Join(t.TempDir(), "plain.csv")
	if err := os.WriteFile(path, []byte(strings.Join(good(), "\n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	got := scoreJSON(t, exitOK, path)
	if !got.flag("map_guessed") || !got.flag("uncertainty_unknown") {
		t.Errorf("flags %v, want map_guessed and uncertainty_unknown", got.Flags)
	}
	if v := got.Results["peak_linear_acceleration"]; v.Unit != "g" || math.Abs(v.Value-80) > 1 {
		t.Errorf("peak %v %s, want about 80 g", v.Value, v.Unit)
	}
}

func TestScoreForPeople(t *testing.T) {
	path := filepath.Join(t.TempDir(), "plain.csv")
	if err := os.WriteFile(path, []byte(strings.Join(good(), "\n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	out, _, code := thudbook(t.Context(), t, "score", path)
	for _, text := range []string{"\n  Peak linear acceleration ", "flag map_guessed", "  Gadd, from 4 g to 4 g, not confirmed against print\n", "rad/s²"} {
		if !strings.Contains(out, text) {
			t.Errorf("%q is missing in\n%s", text, out)
		}
	}
	if code != exitOK || !strings.HasSuffix(out, researchValues+"\n") {
		t.Errorf("exit code %d, ends with %q", code, out[max(0, len(out)-120):])
	}
}

func TestScoreUnreadable(t *testing.T) {
	got := scoreJSON(t, exitInput, filepath.Join(t.TempDir(), "not-there.csv"))
	if got.Error == nil || got.Error.Code != string(fault.Unreadable) || got.Error.Fix == "" {
		t.Errorf("error %+v, want unreadable with a fix", got.Error)
	}
}

func TestExitCodes(t *testing.T) {
	for _, args := range [][]string{{}, {"no-such-command"}, {"score"}, {"verify"}} {
		if _, _, code := thudbook(t.Context(), t, args...); code != exitUsage {
			t.Errorf("thudbook %v gives exit code %d, want %d", args, code, exitUsage)
		}
	}
	out, _, code := thudbook(t.Context(), t, "--help")
	if code != exitOK || !strings.Contains(out, "never fires a ram") {
		t.Errorf("help: exit code %d, text %q", code, out)
	}
	for command, says := range map[string]string{"agent": "127.0.0.1:8371", "server": "127.0.0.1:8370"} {
		if out, _, _ := thudbook(t.Context(), t, command, "--help"); !strings.Contains(out, says) {
			t.Errorf("%s --help does not name %s", command, says)
		}
	}
	words := strings.Fields(out)
	for _, c := range []string{"score", "map", "shock", "simulate", "agent", "server", "demo", "verify"} {
		if !slices.Contains(words, c) {
			t.Errorf("help does not name %s", c)
		}
	}
}

// The table for people stands in columns: every value ends where the head's does,
// and it agrees with the JSON in the digits that it shows.
func TestScoreTableStandsInColumns(t *testing.T) {
	args := []string{"--map", "../../testdata/frontal-9ms.map.toml", "../../testdata/frontal-9ms.csv"}
	out, errOut, code := thudbook(t.Context(), t, append([]string{"score"}, args...)...)
	if code != exitOK {
		t.Fatalf("exit code %d\n%s", code, errOut)
	}
	lines := strings.Split(out, "\n")
	end := strings.Index(lines[1], "value") + len("value")
	want := scoreJSON(t, exitOK, args...).Results
	rows := 0
	for _, line := range lines[2:] {
		if strings.HasPrefix(line, "  flag") {
			break
		}
		rows++
		runes := []rune(line)
		if runes[end-1] == ' ' || runes[end] != ' ' {
			t.Errorf("%q: the value does not end in column %d", line, end)
		}
		if strings.HasPrefix(line, "  Peak linear acceleration ") {
			v, err := strconv.ParseFloat(strings.TrimSpace(string(runes[end-8:end])), 64)
			if err != nil || math.Abs(v-want["peak_linear_acceleration"].Value) > 0.05 {
				t.Errorf("%q, the JSON has %g g", line, want["peak_linear_acceleration"].Value)
			}
		}
	}
	if rows != len(want) {
		t.Errorf("%d rows of %d results", rows, len(want))
	}
}

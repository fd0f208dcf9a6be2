package chanmap_test

import (
	"bytes"
	"errors"
	"io"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
)

func TestParseWhole(t *testing.T) {
	f, err := os.Open("testdata/rig-one.toml")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	got, err := chanmap.Parse(f, "rig-one.toml")
	if err != nil {
		t.Fatal(err)
	}
	want := &chanmap.Map{
		Name:       "rig one, seven channels",
		Format:     chanmap.Format{Kind: "delimited", Delimiter: ";", Decimal: ",", Encoding: "latin1", HeaderRows: 3},
		Complete:   chanmap.Complete{Rule: "quiet", QuietMS: 1500},
		Time:       chanmap.Time{Column: "t", Unit: "ms"},
		Processing: chanmap.Processing{BaselineMS: 15},
		Ram:        chanmap.Ram{MassKG: 15},
		Channels: []chanmap.Channel{
			{Column: "ax", Measures: "linear acceleration", Axis: "-x", Unit: "mV", Sensitivity: 0.2, CFC: 1000, FullScale: 100,
				ExpandedUncertaintyPercent: 2, PositionMM: [3]float64{10, 0, -5.5}, Sensor: "A-101"},
			{Column: "5", Measures: "angular velocity", Axis: "z", Unit: "deg/s", CFC: 180},
			{Column: "wy", Measures: "angular velocity", Axis: "y", Unit: "deg/s", CFC: 0},
			{Column: "gate", Measures: "light gate", FlagMM: 25, Unit: "V"},
		},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

const valid = `name = "x"
[format]
kind = "delimited"
[time]
column = "t"
unit = "s"
[[channel]]
column = "ax"
measures = "linear acceleration"
axis = "x"
unit = "g"
[[channel]]
column = "gate"
measures = "light gate"
`

// change swaps a part of the valid map for another.
func change(t *testing.T, from, to string) string {
	t.Helper()
	if strings.Count(valid, from) == 0 {
		t.Fatalf("%q is not in the valid map", from)
	}
	return strings.Replace(valid, from, to, 1)
}

func TestParseFaults(t *testing.T) {
	tests := []struct {
		name, text  string
		line        int
		what, fixes string
	}{
		{"not toml", "name = \n", 1, "not valid TOML", "double quotes"},
		{"unquoted text", change(t, `"t"`, "t"), 5, "not valid TOML", ""},
		{"unknown key", change(t, `axis = "x"`, "axis = \"x\"\nfullscale = 5"), 11, "channel[1].fullscale", "full_scale"},
		{"unknown table", valid + "[ramm]\n", 15, "key ramm", "ram"},
		{"far from any key", valid + "[weather]\n", 15, "key weather", "known here"},
		{"number for a text", change(t, `unit = "g"`, "unit = 9"), 11, "channel[1].unit: 9 is no text", "correct"},
		{"text for a number", valid + "flag_mm = \"25\"\n", 15, "channel[2].flag_mm", ""},
		{"not finite", valid + "flag_mm = nan\n", 15, "not finite", ""},
		{"fraction for a whole number", change(t, `unit = "g"`, "unit = \"g\"\ncfc = 1000.5"), 12, "whole number", ""},
		{"column zero", change(t, `column = "ax"`, "column = 0"), 8, "count from 1", ""},
		{"column is a list", change(t, `column = "ax"`, "column = [1]"), 8, "neither a header text nor a column number", ""},
		{"unknown unit", change(t, `unit = "g"`, `unit = "furlong"`), 11, `"furlong" is no known unit`, `"g", "m/s2"`},
		{"unit of another quantity", change(t, `unit = "g"`, `unit = "psi"`), 11, "no unit of linear acceleration", `"g"`},
		{"volts without sensitivity", change(t, `unit = "g"`, `unit = "mV"`), 7, "needs the sensor's sensitivity", "how many mV make one g"},
		{"sensitivity without volts", change(t, `unit = "g"`, "unit = \"g\"\nsensitivity = 2"), 12, "need no sensitivity", ""},
		{"negative sensitivity", change(t, `unit = "g"`, "unit = \"V\"\nsensitivity = -2"), 12, "negative", `"-x"`},
		{"gate in g", valid + "unit = \"g\"\n", 15, "light gate is not measured in", `"V"`},
		{"unknown quantity", change(t, "linear acceleration", "acceleration"), 9, `"acceleration" is not known`, "linear acceleration"},
		{"no quantity", change(t, "measures = \"light gate\"\n", ""), 12, "not said what", "light gate"},
		{"no axis", change(t, "axis = \"x\"\n", ""), 7, "needs its axis", "J211"},
		{"bad axis", change(t, `axis = "x"`, `axis = "up"`), 10, `"up" is not known`, `"-x"`},
		{"no column", change(t, "column = \"ax\"\n", ""), 7, "no column is named", ""},
		{"no unit", change(t, "axis = \"x\"\nunit = \"g\"", "axis = \"x\""), 7, "no unit is given", `"g"`},
		{"no time", change(t, "column = \"t\"\nunit = \"s\"\n", ""), 4, "neither column nor rate_hz", "rate_hz"},
		{"time twice", change(t, `unit = "s"`, "rate_hz = 10000"), 6, "both a time column and a rate", ""},
		{"negative rate", change(t, "column = \"t\"\nunit = \"s\"", "rate_hz = -1"), 5, "outside", ""},
		{"unit of time", change(t, `unit = "s"`, `unit = "g"`), 6, "no unit of time", `"ms"`},
		{"class", change(t, `unit = "g"`, "unit = \"g\"\ncfc = 100"), 12, "no filter class", "1000"},
		{"same column twice", change(t, `column = "gate"`, `column = "ax"`), 13, "bound already by channel 1", ""},
		{"no channels", "[time]\nrate_hz = 1e4\n", 0, "no channel is bound", "[[channel]]"},
		{"one bracket", "[time]\nrate_hz = 1e4\n[channel]\ncolumn = 1\n", 3, "list of tables", "two brackets"},
		{"kind", change(t, `"delimited"`, `"workbook"`), 3, `"workbook" is not known`, "wav"},
		{"rows without number", valid + "[complete]\nrule = \"rows\"\n", 15, "number of data rows", ""},
		{"footer without text", valid + "[complete]\nrule = \"footer\"\n", 15, "text of the last line", ""},
		{"marker outside", valid + "[complete]\nrule = \"marker\"\nmarker = \"../x\"\n", 17, "path separator", ""},
		{"uncertainty", valid + "expanded_uncertainty_percent = 200\n", 15, "outside 0 to 100", ""},
		{"position", valid + "position_mm = [1, 2]\n", 15, "three numbers", ""},
		{"position far off", valid + "position_mm = [0, 0, 5000]\n", 15, "more than a metre", "millimetres"},
		{"flag on an accelerometer", change(t, `unit = "g"`, "unit = \"g\"\nflag_mm = 25"), 12, "only a light gate", ""},
		{"three faults, the first is named",
			strings.NewReplacer(`"linear acceleration"`, `"speed"`, `axis = "x"`, `axis = "q"`, `column = "t"`, `colum = "t"`).Replace(valid),
			4, "the first of 4 faults", ""},
		{"far too large", strings.Repeat("# comment\n", 120_000), 0, "larger than 1 MiB", ""},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			m, err := chanmap.Parse(strings.NewReader(tc.text), "rig.toml")
			f, ok := fault.As(err)
			if !ok {
				t.Fatalf("Parse = %+v, %v; want a fault", m, err)
			}
			if f.Code != fault.BadMap || f.Line != tc.line || !strings.Contains(f.What, tc.what) || !strings.Contains(f.What, "rig.toml") {
				t.Errorf("fault = %s at line %d: %s; want line %d with %q", f.Code, f.Line, f.What, tc.line, tc.what)
			}
			if f.Fix == "" || !strings.Contains(f.Fix, tc.fixes) {
				t.Errorf("fix = %q, want %q in it", f.Fix, tc.fixes)
			}
		})
	}
}

func TestParseUnreadable(t *testing.T) {
	stop := errors.New("share is gone")
	_, err := chanmap.Parse(io.MultiReader(strings.NewReader("name = "), errReader{stop}), "rig.toml")
	if f, ok := fault.As(err); !ok || f.Code != fault.Unreadable || !errors.Is(err, stop) {
		t.Errorf("Parse = %v, want unreadable with its cause", err)
	}
}

type errReader struct{ err error }

func (r errReader) Read([]byte) (int, error) { return 0, r.err }

func TestBOMAndInlineTables(t *testing.T) {
	text := "\xef\xbb\xbftime = {rate_hz = 20000}\r\nchannel = [{column = 1, measures = \"force\", axis = \"z\", unit = \"kN\"}]\r\n"
	m, err := chanmap.Parse(strings.NewReader(text), "a.toml")
	if err != nil || m.Time.RateHz != 20000 || m.Channels[0].Column != "1" {
		t.Errorf("Parse = %+v, %v", m, err)
	}
}

func TestValidate(t *testing.T) {
	m := chanmap.Map{Time: chanmap.Time{RateHz: 1e4}, Channels: []chanmap.Channel{{Column: "ax", Measures: "linear acceleration", Axis: "x", Unit: "g"}}}
	if err := m.Validate("map"); err != nil {
		t.Errorf("a valid map: %v", err)
	}
	m.Channels[0].Unit = "kg"
	if f, ok := fault.As(m.Validate("map")); !ok || f.Code != fault.BadMap || f.Line != 0 {
		t.Errorf("unit kg: %v", f)
	}
}

// What Encode writes, Parse reads as the same map, whatever the texts hold.
func TestEncodeRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := chanmap.Map{
			Name:       rapid.String().Draw(t, "name"),
			Format:     chanmap.Format{Kind: "delimited", Delimiter: rapid.SampledFrom([]string{"", ",", ";", "\t", "|", " "}).Draw(t, "delimiter"), HeaderRows: rapid.IntRange(0, 9).Draw(t, "header_rows")},
			Complete:   chanmap.Complete{Rule: "footer", Footer: "x" + rapid.String().Draw(t, "footer")},
			Time:       chanmap.Time{RateHz: rapid.Float64Range(1, 1e9).Draw(t, "rate")},
			Processing: chanmap.Processing{BaselineMS: rapid.Float64Range(0, 100).Draw(t, "baseline"), ResampleHz: rapid.Float64Range(0, 1e6).Draw(t, "resample")},
			Ram:        chanmap.Ram{MassKG: rapid.Float64Range(0, 100).Draw(t, "mass")},
			Channels: []chanmap.Channel{
				{Column: "c" + strings.TrimSpace(rapid.String().Draw(t, "column")), Measures: "linear acceleration", Axis: "-y", Unit: "mV",
					Sensitivity: rapid.Float64Range(1e-9, 1e9).Draw(t, "sensitivity"), CFC: rapid.SampledFrom([]int{0, 60, 1000}).Draw(t, "cfc"),
					FullScale: rapid.Float64Range(0, 1e6).Draw(t, "scale"), Sensor: rapid.String().Draw(t, "sensor"),
					CrossAxisPercent: rapid.Float64Range(0, 100).Draw(t, "cross axis"),
					PositionMM:       [3]float64{rapid.Float64Range(-1000, 1000).Draw(t, "x"), 0, 1}},
				{Column: "9", Measures: "light gate", FlagMM: 25},
			},
		}
		for _, s := range []*string{&m.Name, &m.Complete.Footer, &m.Channels[0].Column, &m.Channels[0].Sensor} {
			*s = strings.TrimSpace(strings.ToValidUTF8(*s, "?"))
		}
		var b bytes.Buffer
		if err := chanmap.Encode(&b, m); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		back, err := chanmap.Parse(&b, "map.toml")
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if d := cmp.Diff(m, *back); d != "" {
			t.Fatalf("(-written +read):\n%s\n%s", d, text)
		}
	})
}

func FuzzParse(f *testing.F) {
	f.Add(valid)
	f.Add("channel = 1\ntime = 2\nformat = []\n")
	f.Add("[[channel]]\nposition_mm = [1, \"a\", 2]\n[[channel]]\n")
	f.Fuzz(func(t *testing.T, text string) {
		m, err := chanmap.Parse(strings.NewReader(text), "fuzz.toml")
		if err == nil {
			if err := m.Validate("fuzz.toml"); err != nil {
				t.Fatalf("Parse took it, Validate did not: %v", err)
			}
			return
		}
		if g, ok := fault.As(err); !ok || !strings.Contains(g.What, "fuzz.toml") || g.Fix == "" {
			t.Fatalf("error %v names no file or fix", err)
		}
	})
}

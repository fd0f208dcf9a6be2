package format_test

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format"
	"thudbook/metrics/format/iso13499"
)

// Values that a file says are filtered are not filtered with the same or a
// lower class again (letters of ISO/TS 13499, from memory, not confirmed
// against print).
func TestFilteredBefore(t *testing.T) {
	for _, tc := range []struct {
		letter, key string
		asked, left int
		filtered    int
		note        string
	}{
		{"P", "NOVALUE", 1000, 1000, 0, ""},
		{"0", "NOVALUE", 180, 180, 0, ""},
		{"A", "NOVALUE", 1000, 0, 1000, "not filtered again"},
		{"C", "180", 1000, 0, 180, "peaks may be too low"},
		{"A", "1000", 180, 180, 1000, "CFC 180 is applied to that"},
		{"C", "60", 180, 0, 180, "the code holds"},
		{"?", "CFC 600", 600, 0, 600, "not filtered again"},
		{"S", "NOVALUE", 600, 600, 0, "special filter"},
		{"D", "NOVALUE", 0, 0, 60, "not filtered again"},
	} {
		a := acc("1", "m/s2")
		a.CFC = tc.asked
		r, err := readBytes(t, folder(t, "D0HEAD0000H3ACXP", "D0HEAD0000H3ACX"+tc.letter, "Channel frequency class     :NOVALUE", "Channel frequency class     :"+tc.key), bindMap("iso13499", a))
		if err != nil {
			t.Fatal(err)
		}
		ch := r.Recording.Channels[0]
		if notes := strings.Join(r.Unsure, "\n"); ch.CFC != tc.left || r.Filtered[ch.Name] != tc.filtered || (notes != "") != (tc.note != "") || !strings.Contains(notes, tc.note) {
			t.Errorf("%s with key %s, asked for %d: CFC %d, filtered %v, notes %q", tc.letter, tc.key, tc.asked, ch.CFC, r.Filtered, r.Unsure)
		}
	}
}

func TestGuessedKinds(t *testing.T) {
	r, err := readBytes(t, folder(t), nil)
	if err != nil {
		t.Fatal(err)
	}
	if !r.Guessed || len(r.Map.Channels) != 3 || r.Map.Channels[0].Column != "D0HEAD0000H3ACXP" || r.Map.Channels[1].Unit != "deg/s" || len(r.Faults) != 1 || r.Faults[0].Code != format.MixedRates {
		t.Errorf("map %+v, faults %v", r.Map, r.Faults)
	}
	r, err = readBytes(t, universal(t), nil)
	if err != nil {
		t.Fatal(err)
	}
	if !r.Guessed || len(r.Recording.Channels) != 3 || r.Map.Channels[1].Axis != "-y" || r.Map.Channels[1].Column != "head acceleration y reversed" {
		t.Errorf("map %+v, faults %v", r.Map, r.Faults)
	}
	wantValues(t, r, 1, -1, 0, 1.234567890123, -2.5, 100, -1.234567890123e-101, -12.34567890123, 0.3333333333333, 0)
	// What Propose gives reads the same file without doubt about the map.
	for _, b := range [][]byte{folder(t), universal(t), []byte("t [s],ax [g]\n0,1\n0.001,2\n")} {
		m, _, err := format.Propose(t.Context(), bytes.NewReader(b))
		if err != nil || len(m.Channels) == 0 {
			t.Fatalf("%v %+v", err, m)
		}
		var text bytes.Buffer
		if err := chanmap.Encode(&text, m); err != nil {
			t.Fatal(err)
		}
		back, err := chanmap.Parse(&text, "map.toml")
		if err != nil {
			t.Fatal(err)
		}
		if r, err := readBytes(t, b, back); err != nil || r.Guessed || len(r.Recording.Channels) == 0 {
			t.Errorf("with its own map: %v", err)
		}
	}
	if _, _, err := format.Propose(t.Context(), bytes.NewReader(waves([2]int16{1, 2}))); code(err) != fault.MissingColumn {
		t.Errorf("map of a WAV: %v", err)
	}
}

func TestKindMistaken(t *testing.T) {
	files := map[string][]byte{"iso13499": folder(t), "uff58": universal(t), "wav": waves([2]int16{1, 2}), "delimited": []byte(plain)}
	for kind, b := range files {
		for said := range files {
			if said == kind || said == "delimited" {
				continue
			}
			_, err := readBytes(t, b, bindMap(said, acc("1", "g")))
			if f, ok := fault.As(err); !ok || f.Code != fault.BadMap || !strings.Contains(f.Fix, kind) {
				t.Errorf("%s said to be %s: %v", kind, said, err)
			}
		}
	}
	for name, tc := range map[string]struct {
		data []byte
		kind string
		code fault.Code
		what string
	}{
		"a WAV as text":      {waves([2]int16{1, 2}), "delimited", fault.Unreadable, "zero bytes"},
		"a header alone":     {[]byte("Data format edition number  :1.6\r\nTitle :x\r\n"), "", fault.NoData, "one part (header"},
		"a channel alone":    {[]byte("Test object number          :1\r\nUnit :g\r\n1\r\n2\r\n"), "", fault.NoData, "one part (header"},
		"a compressed tar":   {[]byte("\x1f\x8b\x08\x00 and so on"), "iso13499", iso13499.BadArchive, "gzip"},
		"nothing":            {nil, "wav", fault.Empty, "empty"},
		"nothing, delimited": {nil, "", fault.Empty, "empty"},
		"a binary dataset":   {universal(t, "    58\n", "    58b     2     2          11          80     0     0           0           0\n"), "", fault.Unreadable, "58b"},
	} {
		m := rigMap(func(m *chanmap.Map) { m.Format.Kind = tc.kind })
		if _, err := readBytes(t, tc.data, m); code(err) != tc.code || !strings.Contains(err.Error(), tc.what) {
			t.Errorf("%s: %v, want %s with %q", name, err, tc.code, tc.what)
		}
	}
}

// One channel that cannot be read leaves the others; none is an error.
func TestPartsOfKinds(t *testing.T) {
	bad := folder(t, "\n-90\n", "\nOVER\n", "Sampling interval           :0.001", "Sampling interval           :NOVALUE")
	all := []chanmap.Channel{acc("1", "m/s2"), rate("2", "deg/s"), {Column: "3", Measures: "pressure", Unit: "bar"}, {Column: "9", Measures: "force", Unit: "N"}, {Column: "1", Measures: "force", Unit: "N"}}
	r, err := readBytes(t, bad, bindMap("iso13499", all...))
	if err != nil {
		t.Fatal(err)
	}
	var codes []string
	for _, f := range r.Faults {
		codes = append(codes, string(f.Code)+" "+f.Channel)
		if f.Fix == "" || f.What == "" {
			t.Errorf("fault %+v", f)
		}
	}
	want := []string{"bad_number D0HEAD0000H3AVYC", "time_column D0RAMM000000PR0P", "missing_column 9", "missing_column 1"}
	if !slices.Equal(codes, want) {
		t.Errorf("faults %q, want %q", codes, want)
	}
	if len(r.Recording.Channels) != 2 || !math.IsNaN(r.Recording.Channels[1].Values[2]) {
		t.Errorf("%+v", r.Recording)
	}
	if _, err := readBytes(t, bad, bindMap("iso13499", all[3])); code(err) != fault.MissingColumn {
		t.Errorf("no channel there: %v", err)
	}
	if _, err := readBytes(t, bad, bindMap("iso13499", all[2:4]...)); code(err) != fault.TimeColumn || !strings.Contains(err.Error(), "nor can the other 1") {
		t.Errorf("no channel readable: %v", err)
	}
	// A short channel is filled with NaN and named; the others stay whole.
	short := folder(t, "\n18\n0\n", "\n")
	r, err = readBytes(t, short, bindMap("iso13499", acc("1", "m/s2"), rate("2", "deg/s"), chanmap.Channel{Column: "4", Measures: "light gate", Unit: "V"}))
	if err != nil || r.Rows != 6 || len(r.Faults) != 1 || r.Faults[0].Code != fault.Truncated {
		t.Fatalf("short channel: %+v %v", r, err)
	}
	for i, c := range r.Recording.Channels {
		if len(c.Values) != 6 || math.IsNaN(c.Values[5]) != (i == 1) {
			t.Errorf("channel %s: %v", c.Name, c.Values)
		}
	}
	// The same number declared as written: no channel is cut by itself.
	r, err = readBytes(t, folder(t, "Number of samples:6", "Number of samples:4", "\n18\n0\n", "\n"), bindMap("iso13499", acc("1", "m/s2"), rate("2", "deg/s")))
	if err != nil || len(r.Faults) != 1 || r.Faults[0].Code != fault.Truncated || !strings.Contains(r.Faults[0].What, "has 4 samples, the others have 6") {
		t.Errorf("channel of another length: %+v %v", r, err)
	}
	if _, err := format.Read(t.Context(), bytes.NewReader(folder(t)), format.Options{Map: bindMap("iso13499", all[:2]...), MaxSamples: 11}); code(err) != fault.TooLarge {
		t.Errorf("12 values of at most 11: %v", err)
	}
}

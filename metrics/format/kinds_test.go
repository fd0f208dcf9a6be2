package format_test

import (
	"bytes"
	"encoding/binary"
	"io"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format"
	"thudbook/metrics/format/iso13499"
	"thudbook/metrics/signal"
)

// folder is the hand-written test folder of package iso13499, with changes.
func folder(t testing.TB, changes ...string) []byte {
	t.Helper()
	m := fstest.MapFS{}
	root := os.DirFS("iso13499/testdata/shot-7")
	swap := strings.NewReplacer(changes...)
	err := fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(root, name)
		m[name] = &fstest.MapFile{Data: []byte(swap.Replace(string(b)))}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	p, err := iso13499.Pack(m)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	b, err := io.ReadAll(p)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// universal is the hand-written file of package uff58, with changes.
func universal(t testing.TB, changes ...string) []byte {
	t.Helper()
	b, err := os.ReadFile("uff58/testdata/five.uff")
	if err != nil {
		t.Fatal(err)
	}
	return []byte(strings.NewReplacer(changes...).Replace(string(b)))
}

// waves is a WAV of 16 bits with two channels.
func waves(frames ...[2]int16) []byte {
	le := binary.LittleEndian
	b := []byte("RIFF\x00\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x02\x00")
	b = le.AppendUint32(b, 20000)
	b = le.AppendUint32(b, 80000)
	b = append(b, "\x04\x00\x10\x00data"...)
	b = le.AppendUint32(b, uint32(4*len(frames)))
	for _, f := range frames {
		b = le.AppendUint16(le.AppendUint16(b, uint16(f[0])), uint16(f[1]))
	}
	le.PutUint32(b[4:], uint32(len(b)-8))
	return b
}

func readBytes(t *testing.T, b []byte, m *chanmap.Map) (*format.Reading, error) {
	t.Helper()
	return format.Read(t.Context(), bytes.NewReader(b), format.Options{Name: "shot", Map: m})
}

func bindMap(kind string, channels ...chanmap.Channel) *chanmap.Map {
	return &chanmap.Map{Format: chanmap.Format{Kind: kind}, Channels: channels}
}

func acc(column, unit string) chanmap.Channel {
	return chanmap.Channel{Column: column, Measures: "linear acceleration", Axis: "x", Unit: unit, CFC: 1000}
}

func rate(column, unit string) chanmap.Channel {
	return chanmap.Channel{Column: column, Measures: "angular velocity", Axis: "y", Unit: unit, CFC: 180}
}

func wantValues(t *testing.T, r *format.Reading, i int, factor float64, want ...float64) {
	t.Helper()
	got := r.Recording.Channels[i].Values
	if len(got) != len(want) {
		t.Errorf("channel %d has %d values, want %d", i, len(got), len(want))
		return
	}
	for k, v := range got {
		if math.Abs(v-want[k]*factor) > 4e-16*math.Abs(v) {
			t.Errorf("channel %d sample %d = %v, want %v", i, k, v, want[k]*factor)
		}
	}
}

const perG = 1 / 9.80665 // 3rd General Conference on Weights and Measures, 1901

var ax = []float64{0, 9.80665, 980.665, -19.6133, 4.903325, 0} // m/s², in the folder

func TestFolder(t *testing.T) {
	// By code, by name without regard to case, by laboratory code, by number.
	for _, ref := range []string{"D0HEAD0000H3ACXP", "d0head0000h3acxp", "Head Acceleration X", "A-17", "1"} {
		r, err := readBytes(t, folder(t), bindMap("iso13499", acc(ref, "m/s2"), rate("D0HEAD0000H3AVYC", "deg/s"),
			chanmap.Channel{Column: "4", Measures: "light gate", Unit: "V", FlagMM: 25}))
		if err != nil {
			t.Fatalf("%s: %v", ref, err)
		}
		rec := &r.Recording
		if len(r.Faults) > 0 || rec.RateHz != 20000 || rec.StartS != -1e-4 || rec.Uneven || r.Rows != 6 || len(rec.Channels) != 3 || r.Guessed || r.Map.Format.Kind != "iso13499" {
			t.Errorf("%s: rate %v, start %v, %d rows, faults %v", ref, rec.RateHz, rec.StartS, r.Rows, r.Faults)
		}
		wantValues(t, r, 0, perG, ax...)
		wantValues(t, r, 1, math.Pi/180, 0, 180, -90, 360, 18, 0)
		wantValues(t, r, 2, 1, 5, 5, 0.1, 0.1, 5, 5)
		if rec.Channels[0].Name != "D0HEAD0000H3ACXP" || rec.Channels[0].Unit != "g" || rec.Channels[0].CFC != 1000 {
			t.Errorf("channel %+v", rec.Channels[0])
		}
	}
}

// The file's own unit holds; the map's is that of the full scale.
func TestUnitsOfTheFile(t *testing.T) {
	a := acc("1", "g")
	a.FullScale, a.Axis = 500, "-x"
	v := chanmap.Channel{Column: "1", Measures: "linear acceleration", Axis: "x", Unit: "mV", Sensitivity: 0.5, FullScale: 100}
	for name, tc := range map[string]struct {
		ch      chanmap.Channel
		changes []string
		factor  float64
		full    float64
		note    string
	}{
		"m/s2 in the file, g in the map": {a, nil, -perG, 500, "is in m/s2 and not in g"},
		"no unit in the file":            {a, []string{":m/(s*s)", ":NOVALUE"}, -1, 500, "names no unit"},
		"a unit of something else":       {a, []string{":m/(s*s)", ":bar"}, -1, 500, "is in bar, not in g"},
		"volts, sensitivity per mV":      {v, []string{":m/(s*s)", ":V"}, 2000, 200, "is in V and not in mV"},
		"mV, as the map says":            {v, []string{":m/(s*s)", ":mV"}, 2, 200, ""},
	} {
		r, err := readBytes(t, folder(t, tc.changes...), bindMap("iso13499", tc.ch))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		wantValues(t, r, 0, tc.factor, ax...)
		if c := r.Recording.Channels[0]; c.FullScale != tc.full || c.Axis != signal.X {
			t.Errorf("%s: full scale %v, axis %s", name, c.FullScale, c.Axis)
		}
		notes := strings.Join(r.Unsure, "\n")
		for _, u := range r.Conflicts {
			notes += u.Channel + " is in " + u.InFile + ", not in " + u.InMap
		}
		if (notes != "") != (tc.note != "") || !strings.Contains(notes, tc.note) {
			t.Errorf("%s: notes %q", name, r.Unsure)
		}
	}
}

// Channels of another rate, first time or time base are left out with a fault
// that names both; the ones that most channels share stay.
func TestDifferentRates(t *testing.T) {
	all := []chanmap.Channel{acc("1", "m/s2"), rate("2", "deg/s"), {Column: "3", Measures: "pressure", Unit: "bar"}}
	r, err := readBytes(t, folder(t), bindMap("iso13499", all...))
	if err != nil {
		t.Fatal(err)
	}
	f := r.Faults[0]
	if len(r.Faults) != 1 || f.Code != format.MixedRates || f.Channel != "D0RAMM000000PR0P" || f.Fix == "" ||
		!strings.Contains(f.What, "1000 samples a second") || !strings.Contains(f.What, "D0HEAD0000H3ACXP has 20000 samples a second") {
		t.Errorf("faults %v", r.Faults)
	}
	if len(r.Recording.Channels) != 2 || len(r.Map.Channels) != 2 || r.Rows != 6 {
		t.Errorf("%d channels of %d rows", len(r.Recording.Channels), r.Rows)
	}
	later := folder(t, "time of first sample :-1.0E-4", "time of first sample :-0.5E-4")
	r, err = readBytes(t, later, bindMap("iso13499", all[:2]...))
	if err != nil || len(r.Faults) != 1 || r.Faults[0].Code != format.MixedRates || !strings.Contains(r.Faults[0].What, "from -5e-05 s") {
		t.Errorf("another first time: %v %v", r, err)
	}
	r, err = readBytes(t, universal(t), bindMap("uff58", acc("head acceleration x", "m/s2"), chanmap.Channel{Column: "tank pressure", Measures: "pressure", Unit: "bar"}))
	if err != nil || len(r.Faults) != 1 || !strings.Contains(r.Faults[0].What, "uneven times from 0 s") {
		t.Errorf("even and uneven: %v %v", r, err)
	}
}

// The times are even to the six digits of the format, which is 20 kHz exactly.
func TestUniversalFile(t *testing.T) {
	r, err := readBytes(t, universal(t), bindMap("uff58", acc("head acceleration x", "m/s2"),
		chanmap.Channel{Column: "12-Y", Measures: "linear acceleration", Axis: "-y", Unit: "g"},
		chanmap.Channel{Column: "3", Measures: "angular velocity", Axis: "z", Unit: "deg/s"}))
	if err != nil {
		t.Fatal(err)
	}
	rec := &r.Recording
	if len(r.Faults) > 0 || len(r.Unsure) > 0 || rec.RateHz != 20000 || rec.StartS != -1e-4 || rec.Uneven || len(rec.Channels) != 3 || r.Rows != 8 {
		t.Fatalf("rate %v, start %v, %d channels, faults %v, unsure %q", rec.RateHz, rec.StartS, len(rec.Channels), r.Faults, r.Unsure)
	}
	wantValues(t, r, 0, perG, 0, 9.80665, -19.6133, 980.665, 1, -1, 0.25, 0)
	wantValues(t, r, 1, -1, 0, 1.234567890123, -2.5, 100, -1.234567890123e-101, -12.34567890123, 0.3333333333333, 0)
	wantValues(t, r, 2, math.Pi/180, 0, 180, -90, 360, 18, 0, 1, 2)
	// Uneven times in ms.
	r, err = readBytes(t, universal(t), bindMap("uff58", chanmap.Channel{Column: "tank pressure", Measures: "pressure", Unit: "kPa"}))
	if err != nil {
		t.Fatal(err)
	}
	if rec := &r.Recording; !rec.Uneven || !slices.Equal(rec.TimeS, []float64{0, 0.1 / 1000, 0.3 / 1000}) {
		t.Errorf("times %v", rec.TimeS)
	}
	wantValues(t, r, 0, 100, 1.379, 1.38, 1.381) // 1 bar = 100 kPa (SI brochure)
}

func TestWave(t *testing.T) {
	a := acc("1", "count")
	a.Sensitivity = 50 // counts per g
	gate := chanmap.Channel{Column: "channel 2", Measures: "light gate", FlagMM: 25, Unit: "count"}
	file := waves([2]int16{0, 5}, [2]int16{100, 5}, [2]int16{-32768, 0})
	r, err := readBytes(t, file, bindMap("wav", a, gate))
	if err != nil {
		t.Fatal(err)
	}
	rec := &r.Recording
	if rec.RateHz != 20000 || rec.StartS != 0 || rec.Uneven || len(r.Faults) > 0 || len(r.Unsure) > 0 || r.Rows != 3 || rec.Channels[0].Unit != "g" || rec.Channels[1].Unit != "count" {
		t.Errorf("%+v", r)
	}
	wantValues(t, r, 0, 1, 0, 2, -655.36)
	wantValues(t, r, 1, 1, 5, 5, 0)
	if rec.Channels[0].FullScale != 32767.0/50 {
		t.Errorf("full scale %v, want that of 16 bits", rec.Channels[0].FullScale)
	}
	a.FullScale = 25000
	r, err = readBytes(t, file[:len(file)-2], bindMap("", a))
	if err != nil || r.Rows != 2 || len(r.Faults) != 1 || r.Faults[0].Code != fault.Truncated || !strings.Contains(r.Faults[0].What, "byte 54") {
		t.Fatalf("cut short: %v %v", r, err)
	}
	if r.Recording.Channels[0].FullScale != 500 || len(r.Unsure) != 1 || !strings.Contains(r.Unsure[0], "read as a WAV file") {
		t.Errorf("full scale %v, unsure %q", r.Recording.Channels[0].FullScale, r.Unsure)
	}
	m := bindMap("wav", a)
	m.Time.RateHz = 48000
	if r, err = readBytes(t, file, m); err != nil || r.Recording.RateHz != 48000 || len(r.Unsure) != 1 || !strings.Contains(r.Unsure[0], "rate_hz = 48000 holds") {
		t.Errorf("rate of the map: %v %v", r, err)
	}
	m.Time = chanmap.Time{Column: "t", Unit: "s"}
	if r, err = readBytes(t, file, m); err != nil || r.Recording.RateHz != 20000 || len(r.Unsure) != 1 || !strings.Contains(r.Unsure[0], `time column "t" is not used`) {
		t.Errorf("time column of the map: %v %v", r, err)
	}
	if _, err = readBytes(t, file, nil); code(err) != fault.MissingColumn || !strings.Contains(err.Error(), "2 channels of 16-bit integer counts at 20000") {
		t.Errorf("without a map: %v", err)
	}
}

func code(err error) fault.Code {
	if f, ok := fault.As(err); ok {
		return f.Code
	}
	return ""
}

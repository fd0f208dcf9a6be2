package iso13499_test

import (
	"bytes"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/iso13499"
	"thudbook/metrics/signal"
)

// memory is a sink in memory.
type memory struct{ fstest.MapFS }

type memoryFile struct {
	bytes.Buffer
	to   memory
	name string
}

func (f *memoryFile) Close() error {
	f.to.MapFS[f.name] = &fstest.MapFile{Data: f.Bytes()}
	return nil
}

func (m memory) Create(name string) (io.WriteCloser, error) {
	return &memoryFile{to: m, name: name}, nil
}

func recording() *signal.Recording {
	nan := math.NaN()
	return &signal.Recording{StartS: -0.02, RateHz: 30000, Channels: []signal.Channel{
		{Name: "ax", Measures: signal.LinearAcceleration, Axis: signal.X, Unit: "g", Values: []float64{0, 1.0 / 3, -98.7654321, 1e-12}, FullScale: 500, Sensor: "A-17", CFC: 1000},
		{Name: "ax spare", Measures: signal.LinearAcceleration, Axis: signal.X, Unit: "g", Values: []float64{1, nan, 3, 4}},
		{Name: "wz", Measures: signal.AngularVelocity, Axis: signal.Z, Unit: "rad/s", Values: []float64{math.Pi, -2, 3e10, 0}},
		{Name: "gate", Measures: signal.LightGate, Unit: "V", Values: []float64{5, 5, 0, 5}},
		{Name: "Tank, Größe", Measures: signal.Pressure, Unit: "kPa", Values: []float64{137.9, 137.9, 137.8, 137.9}},
		{Name: "neck", Measures: signal.Force, Axis: signal.Z, Unit: "N", Values: []float64{1, 2, 3, 4}},
	}}
}

// What Write writes, the reader reads as the same recording: values to the last
// bit where no unit changes, else to one unit in the last place.
func TestWriteRoundTrip(t *testing.T) {
	rec := recording()
	sink := memory{fstest.MapFS{}}
	meta := iso13499.Meta{Reference: "shot-12", Dummy: "H3", Prefiltered: true, FilteredCFC: map[string]int{"wz": 180, "neck": 155},
		Fields: []iso13499.Field{{Key: "Title", Value: "Invented\nshot"}, {Key: "Comments", Value: "größer"}, {Key: "Tank pressure kPa", Value: "138"}}}
	if err := iso13499.Write(sink, rec, meta); err != nil {
		t.Fatal(err)
	}
	for name, f := range sink.MapFS {
		for i, line := range strings.SplitAfter(string(f.Data), "\r\n") {
			if strings.ContainsFunc(strings.TrimSuffix(line, "\r\n"), func(r rune) bool { return r < 0x20 || r > 0x7e }) || !strings.HasSuffix(line, "\r\n") && line != "" {
				t.Errorf("%s line %d is no ASCII line with CR LF: %q", name, i+1, line)
			}
		}
	}
	f, err := iso13499.Read(t.Context(), bytes.NewReader(archives(t, sink.MapFS, true)["zip"]), iso13499.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if f.Reference != "shot-12" || f.Header.Value("Title") != "Invented shot" || f.Header.Value("Tank pressure kPa") != "138" || len(f.Notes) > 0 {
		t.Errorf("header %+v, notes %q", f.Header, f.Notes)
	}
	if text := string(sink.MapFS["shot-12/shot-12.mme"].Data); !strings.Contains(text, iso13499.Conformity) || !strings.Contains(text, "gr??er") {
		t.Errorf("the header does not say that conformity was not checked, or lost a comment:\n%s", text)
	}
	codes := []string{"D0HEAD0000H3ACXP", "D0HEAD0200H3ACXP", "D0HEAD0000H3AVZC", "D0GATE000000VO0P", "D0RAMM000000PR0P", "D0NECK0000H3FOZS"}
	for i, c := range f.Channels {
		want := rec.Channels[i]
		if string(c.Code) != codes[i] || c.Code.Check() != "" || c.StartS != -0.02 || math.Abs(1/c.IntervalS-30000) > 1e-10 || len(c.Values) != 4 {
			t.Errorf("channel %d: %+v", i, c)
			continue
		}
		factor := 1.0
		if c.Unit() == "m/(s*s)" {
			factor = 9.80665 // m/s², 3rd General Conference on Weights and Measures, 1901
		}
		missing := 0
		for k, v := range c.Values {
			switch w := want.Values[k]; {
			case math.IsNaN(w) && math.IsNaN(v):
				missing++
			case math.Abs(v/factor-w) > 2.3e-16*math.Abs(w):
				t.Errorf("channel %s sample %d: %v became %v", want.Name, k, w, v/factor)
			}
		}
		if (c.Fault != nil) != (missing > 0) {
			t.Errorf("channel %s: %v", want.Name, c.Fault)
		}
	}
	if c := f.Channels[0]; c.Header.Value("Transducer id") != "A-17" || c.Header.Value("First global maximum value") != "3.268883333333333" || c.Header.Value("Time of minimum value") != "-0.019933333333333334" {
		t.Errorf("header of channel 1: %+v", c.Header)
	}
}

func TestWriteRefuses(t *testing.T) {
	for name, tc := range map[string]struct {
		edit func(*signal.Recording, *iso13499.Meta)
		code fault.Code
	}{
		"reference leads out": {func(_ *signal.Recording, m *iso13499.Meta) { m.Reference = "../x" }, fault.BadMap},
		"no reference":        {func(_ *signal.Recording, m *iso13499.Meta) { m.Reference = "" }, fault.BadMap},
		"uneven times":        {func(r *signal.Recording, _ *iso13499.Meta) { r.TimeS = []float64{0, 1, 3, 4} }, fault.TimeColumn},
		"no channel":          {func(r *signal.Recording, _ *iso13499.Meta) { r.Channels = nil }, fault.NoData},
	} {
		rec, meta := recording(), iso13499.Meta{Reference: "a"}
		tc.edit(rec, &meta)
		if err := iso13499.Write(memory{fstest.MapFS{}}, rec, meta); code(err) != tc.code {
			t.Errorf("%s: %v, want %s", name, err, tc.code)
		}
	}
	full := errors.New("disk is full")
	if err := iso13499.Write(fullDisk{full}, recording(), iso13499.Meta{Reference: "a"}); !errors.Is(err, full) {
		t.Errorf("full disk: %v", err)
	}
}

type fullDisk struct{ err error }

func (d fullDisk) Create(string) (io.WriteCloser, error) { return d, nil }
func (d fullDisk) Write([]byte) (int, error)             { return 0, d.err }
func (d fullDisk) Close() error                          { return nil }

package uff58_test

import (
	"bytes"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/uff58"
	"thudbook/metrics/signal"
)

func recording() *signal.Recording {
	return &signal.Recording{StartS: -0.02, RateHz: 30000, Channels: []signal.Channel{
		{Name: "ax", Measures: signal.LinearAcceleration, Axis: signal.X, Unit: "g", Values: []float64{0, 1.0 / 3, -98.7654321, 1e-12, 5}},
		{Name: "wz", Measures: signal.AngularVelocity, Axis: signal.Z, Unit: "rad/s", Values: []float64{math.Pi, -2, 3e10, 0, -1}},
		{Name: "gate", Measures: signal.LightGate, Unit: "V", Values: []float64{5, 5, 0, 5, -1}},
		{Name: "Größe", Measures: signal.Pressure, Unit: "kPa", Values: []float64{137.9, 137.9, 137.8, 137.9, 1}},
		{Name: "neck", Measures: signal.Force, Axis: signal.Y, Unit: "N", Values: []float64{1, 2, 3, 4, 5}},
	}}
}

// What Write writes, the reader reads as the same recording, to the 13 digits
// of E20.12.
func TestWriteRoundTrip(t *testing.T) {
	for _, times := range [][]float64{nil, {-0.001, 0, 0.0025, 0.0026, 0.1}} {
		rec := recording()
		rec.TimeS = times
		var b bytes.Buffer
		if err := uff58.Write(&b, rec, uff58.Meta{Title: "invented\nshot", Date: "06-MAY-31 07:09:39"}); err != nil {
			t.Fatal(err)
		}
		for i, line := range strings.Split(b.String(), "\n") {
			if len(line) > 80 || strings.ContainsFunc(line, func(r rune) bool { return r < 0x20 || r > 0x7e }) {
				t.Errorf("line %d has %d characters: %q", i+1, len(line), line)
			}
		}
		if !uff58.IsFile(b.Bytes()) {
			t.Error("the file is not taken for one")
		}
		f, err := read(t, b.String())
		if err != nil || len(f.Datasets) != 5 || len(f.Skipped) != 1 || len(f.Notes) > 0 {
			t.Fatalf("%v %+v", err, f)
		}
		for i, d := range f.Datasets {
			want := rec.Channels[i]
			factor := map[string]float64{"m/s^2": 9.80665, "Pa": 1000, "rad/s": 1, "V": 1, "N": 1}[d.Ordinate.Unit]
			q, why := d.Quantity()
			if d.Fault != nil || factor == 0 || q != want.Measures || d.Axis() != want.Axis.String() || d.ID[1] != "invented shot" || d.ID[2] != "06-MAY-31 07:09:39" || d.ID[3] != "" || len(d.Values) != 5 {
				t.Errorf("dataset %d: %v %q %q %q %+v", i+1, d.Fault, q, why, d.Axis(), d)
				continue
			}
			for k, v := range d.Values {
				if w := want.Values[k]; math.Abs(v/factor-w) > 6e-13*math.Abs(w) {
					t.Errorf("%s sample %d: %v became %v", want.Name, k, w, v/factor)
				}
			}
			if times == nil && (d.Start != -0.02 || d.Step != 3.33333e-5) || times != nil && cmp.Diff(times, d.Times) != "" {
				t.Errorf("times of dataset %d: %v by %v, %v", i+1, d.Start, d.Step, d.Times)
			}
		}
	}
}

func TestWriteRefuses(t *testing.T) {
	rec := recording()
	rec.Channels[1].Values[2] = math.NaN()
	if err := uff58.Write(io.Discard, rec, uff58.Meta{}); code(err) != fault.NotFinite || !strings.Contains(err.Error(), "wz") {
		t.Errorf("NaN: %v", err)
	}
	if err := uff58.Write(io.Discard, &signal.Recording{RateHz: 1}, uff58.Meta{}); code(err) != fault.NoData {
		t.Errorf("no channel: %v", err)
	}
	if err := uff58.Write(io.Discard, &signal.Recording{Channels: rec.Channels}, uff58.Meta{}); code(err) != fault.TimeColumn {
		t.Errorf("no rate: %v", err)
	}
}

package chanmap_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thudbook/metrics/chanmap"
)

// short writes a channel in one line: "ax=linear acceleration x g 1000".
func short(m chanmap.Map) []string {
	out := []string{fmt.Sprintf("time %s %s", m.Time.Column, m.Time.Unit)}
	for _, c := range m.Channels {
		out = append(out, strings.TrimSpace(fmt.Sprintf("%s=%s %s %s %d", c.Column, c.Measures, c.Axis, c.Unit, c.CFC)))
	}
	return out
}

// The headers are spellings of the trade, common practice, no published source.
func TestGuess(t *testing.T) {
	tests := []struct {
		name           string
		headers, units []string
		want           []string
		unsure         []string // a part of each sentence, in order
	}{
		{"seven columns with units",
			[]string{"t [s]", "ax [g]", "ay [g]", "az [g]", "wx [rad/s]", "wy [rad/s]", "wz [rad/s]"}, nil,
			[]string{"time t [s] s", "ax [g]=linear acceleration x g 1000", "ay [g]=linear acceleration y g 1000", "az [g]=linear acceleration z g 1000",
				"wx [rad/s]=angular velocity x rad/s 180", "wy [rad/s]=angular velocity y rad/s 180", "wz [rad/s]=angular velocity z rad/s 180"}, nil},
		{"words, row of units",
			[]string{"time", "head acc x", "Head Acc Y", "gyro z", "gate", "tank"}, []string{"ms", "m/s²", "g", "°/s", "V", "psi"},
			[]string{"time time ms", "head acc x=linear acceleration x m/s2 1000", "Head Acc Y=linear acceleration y g 1000", "gyro z=angular velocity z deg/s 180",
				"gate=light gate  V 0", "tank=pressure  psi 0"}, nil},
		{"units as last words",
			[]string{"time_ms", "accX_g", "wz rad s", "pressure_kPa_gauge", "load N"}, nil,
			[]string{"time time_ms ms", "accX_g=linear acceleration x g 1000", "wz rad s=angular velocity z rad/s 180", "pressure_kPa_gauge=pressure  kPa 0", "load N=force  N 0"}, nil},
		{"a speed column is no time and no channel",
			[]string{"t", "ax", "speed_m_per_s"}, nil,
			[]string{"time t ", "ax=linear acceleration x g 1000"},
			[]string{`"t" names no unit`, `"ax" names no unit`, "its unit is m/s"}},
		{"time and one trace", []string{"times", "accel"}, nil,
			[]string{"time times ", "accel=linear acceleration x g 1000"},
			[]string{`"times" names no unit`, `"accel" names no axis`, `"accel" names no unit`}},
		{"time and an unknown trace", []string{"Time (ms)", "CH1"}, nil,
			[]string{"time Time (ms) ms", "CH1=linear acceleration x g 1000"},
			[]string{`"CH1" is left out`, `"CH1" stands alone`}},
		{"resultant, doubled, angular acceleration, volts",
			[]string{"t (s)", "ax (g)", "ax (g)", "resultant (g)", "ang acc x (rad/s2)", "acc y (mV)"}, nil,
			[]string{"time t (s) s", "2=linear acceleration x g 1000"},
			[]string{`along x is taken from column "ax (g)" already`, "computed from its components", "computed from the angular velocity", "sensitivity is needed"}},
		{"two triads", []string{"t (s)", "ax1 (g)", "ax2 (g)"}, nil,
			[]string{"time t (s) s", "ax1 (g)=linear acceleration x g 1000"}, []string{`"ax2 (g)" is left out`}},
		{"rates by the names of ships", []string{"t (s)", "roll rate (deg/s)", "pitch (deg/s)", "yaw (deg/s)"}, nil,
			[]string{"time t (s) s", "roll rate (deg/s)=angular velocity x deg/s 180", "pitch (deg/s)=angular velocity y deg/s 180", "yaw (deg/s)=angular velocity z deg/s 180"}, nil},
		{"nothing known", []string{"foo", "bar column", "3"}, nil,
			[]string{"time  "}, []string{"No time column", `"foo" is left out`, `"bar column" is left out`, `"3" is left out`, "No column was recognised"}},
		{"nothing at all", nil, nil, []string{"time  "}, []string{"No time column", "No column was recognised"}},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			m, unsure := chanmap.Guess(tc.headers, tc.units)
			if d := cmp.Diff(tc.want, short(m)); d != "" {
				t.Errorf("map (-want +got):\n%s", d)
			}
			if len(unsure) != len(tc.unsure) {
				t.Fatalf("unsure = %q, want %d sentences", unsure, len(tc.unsure))
			}
			for i, part := range tc.unsure {
				if !strings.Contains(unsure[i], part) {
					t.Errorf("sentence %d = %q, want %q in it", i+1, unsure[i], part)
				}
			}
			if len(m.Channels) == 0 || m.Time.Column == "" {
				return
			}
			var b bytes.Buffer
			if err := chanmap.Encode(&b, m); err != nil {
				t.Fatal(err)
			}
			back, err := chanmap.Parse(&b, "guess.toml")
			if err != nil {
				t.Fatalf("the guess is no valid map: %v", err)
			}
			if d := cmp.Diff(m, *back); d != "" {
				t.Errorf("there and back (-guess +read):\n%s", d)
			}
		})
	}
}

func TestSplitUnit(t *testing.T) {
	for in, want := range map[string][2]string{
		"acc x [g]":     {"acc x", "g"},
		"Time (ms)":     {"Time", "ms"},
		"a (m/(s*s))":   {"a", "m/(s*s)"},
		"p (kPa(g))":    {"p", "kPa(g)"},
		"ax":            {"ax", ""},
		"(only)":        {"(only)", ""},
		"open) bracket": {"open) bracket", ""},
		"x)":            {"x)", ""},
		"":              {"", ""},
	} {
		if name, u := chanmap.SplitUnit(in); name != want[0] || u != want[1] {
			t.Errorf("SplitUnit(%q) = %q, %q; want %q", in, name, u, want)
		}
	}
}

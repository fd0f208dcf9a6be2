package simrig_test

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/simrig"
)

var side = simrig.Command{PressureKPa: 138, Location: "side"}

// pair fires the same stroke of the same rig without and with a fault.
func pair(t *testing.T, f string) (sound, faulty simrig.Shot) {
	t.Helper()
	flt, err := simrig.ParseFault(f)
	if err != nil {
		t.Fatal(err)
	}
	c := side
	c.Faults = []simrig.Fault{flt}
	return fire(t, simrig.New(simrig.Default(7)), side), fire(t, simrig.New(simrig.Default(7)), c)
}

func span(v []float64) float64 {
	lo, hi := v[0], v[0]
	for _, x := range v {
		lo, hi = min(lo, x), max(hi, x)
	}
	return hi - lo
}

func TestFaultsAppearAsAsked(t *testing.T) {
	others := func(t *testing.T, a, b simrig.Shot, name string) {
		t.Helper()
		for i := range a.Channels {
			if a.Channels[i].Name == name {
				continue
			}
			for j := range a.Channels[i].Values {
				if a.Channels[i].Values[j] != b.Channels[i].Values[j] {
					t.Fatalf("the fault on %s changed %s", name, a.Channels[i].Name)
				}
			}
		}
	}
	t.Run("dead", func(t *testing.T) {
		a, b := pair(t, "dead:ay")
		if s := span(b.Channel("ay").Values); s > 0.1 || span(a.Channel("ay").Values) < 50 {
			t.Errorf("a dead channel spans %.3f g", s)
		}
		others(t, a, b, "ay")
	})
	t.Run("reversed", func(t *testing.T) {
		a, b := pair(t, "reversed:wx")
		at := 50 + 1000 + 100
		if x, y := a.Channel("wx").Values[at], b.Channel("wx").Values[at]; math.Abs(x) < 5 || math.Abs(x+y) > 1 {
			t.Errorf("wx %.2f rad/s, reversed %.2f", x, y)
		}
		others(t, a, b, "wx")
	})
	t.Run("saturated", func(t *testing.T) {
		a, b := pair(t, "saturated")
		flat := 0
		for _, x := range b.Channel("ay").Values {
			if math.Abs(x) > 500 {
				t.Fatalf("%g g is beyond the full scale", x)
			}
			if math.Abs(x) >= 0.995*500 {
				flat++
			}
		}
		if flat < 10 {
			t.Errorf("%d samples at full scale, want a flat top", flat)
		}
		others(t, a, b, "ay") // the side blow's loudest channel
	})
	t.Run("dropout", func(t *testing.T) {
		a, b := pair(t, "dropout:ay")
		longest, run, inPulse := 0, 0, false
		for j, x := range b.Channel("ay").Values {
			if x != 0 {
				run = 0
				continue
			}
			run++
			longest = max(longest, run)
			inPulse = inPulse || (run >= 5 && math.Abs(a.Channel("ay").Values[j]) > 20)
		}
		if longest < 8 || !inPulse {
			t.Errorf("longest stretch of zeros %d samples, within the pulse: %v", longest, inPulse)
		}
		others(t, a, b, "ay")
	})
}

func TestDryStrokeLeavesTheHeadAlone(t *testing.T) {
	s := fire(t, simrig.New(simrig.Default(7)), simrig.Command{PressureKPa: 138, Dry: true})
	if s.Truth.Contacts != 0 || span(s.Channel("ax").Values) > 3 {
		t.Errorf("%d contacts, ax spans %.1f g", s.Truth.Contacts, span(s.Channel("ax").Values))
	}
	if v := s.Truth.GateSpeedMS; v < 4.5 || v > 5.5 {
		t.Errorf("gate speed %.2f m/s", v)
	}
}

func TestFileHoldsWhatWasRecorded(t *testing.T) {
	for _, twelve := range []bool{false, true} {
		cfg := simrig.Default(7)
		cfg.TwelveChannels = twelve
		cfg.Name = "rig, one\nof 2"
		s := fire(t, simrig.New(cfg), side)
		var b bytes.Buffer
		if err := simrig.WriteCSV(&b, s); err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
		names := strings.Split(lines[4], ",")
		want := 8
		if twelve {
			want = 13
		}
		if len(names) != want || names[0] != "t" {
			t.Fatalf("columns %q", names)
		}
		rows := lines[5:]
		if len(rows) != 4000 { // 50 + 150 ms at 20 kHz
			t.Fatalf("%d rows, want 4000", len(rows))
		}
		for i, row := range rows {
			cells := strings.Split(row, ",")
			if len(cells) != want {
				t.Fatalf("row %d has %d cells", i, len(cells))
			}
			for k, cell := range cells {
				x, err := strconv.ParseFloat(cell, 64)
				if err != nil {
					t.Fatal(err)
				}
				if k == 0 {
					if at := -0.05 + float64(i)/20000; math.Abs(x-at) > 1e-9 {
						t.Fatalf("row %d is at %g s, want %g", i, x, at)
					}
				} else if x != s.Channels[k-1].Values[i] {
					t.Fatalf("row %d, %s: %s, recorded %g", i, names[k], cell, s.Channels[k-1].Values[i])
				}
			}
		}
	}
}

func TestMapBindsEveryColumn(t *testing.T) {
	for _, twelve := range []bool{false, true} {
		cfg := simrig.Default(7)
		cfg.TwelveChannels = twelve
		r := simrig.New(cfg)
		m := r.Map()
		if err := m.Validate("map"); err != nil {
			t.Error(err)
		}
		var b bytes.Buffer
		if err := chanmap.Encode(&b, m); err != nil {
			t.Fatal(err)
		}
		if _, err := chanmap.Parse(&b, "map.toml"); err != nil {
			t.Errorf("the written map does not parse: %v", err)
		}
		s := fire(t, r, side)
		if len(m.Channels) != len(s.Channels) {
			t.Fatalf("map has %d channels, the file %d", len(m.Channels), len(s.Channels))
		}
		for i, c := range m.Channels {
			if c.Column != s.Channels[i].Name || c.Unit != s.Channels[i].Unit {
				t.Errorf("map channel %d is %s in %s, the file's %s in %s", i, c.Column, c.Unit, s.Channels[i].Name, s.Channels[i].Unit)
			}
		}
	}
}

func TestTankAndForceChannels(t *testing.T) {
	cfg := simrig.Default(7)
	cfg.TwelveChannels = true
	s := fire(t, simrig.New(cfg), side)
	tank := s.Channel("tank").Values
	if tank[0] > 140 || tank[len(tank)-1] > tank[0]+2 || tank[len(tank)-1] < 50 {
		t.Errorf("tank falls from %.1f to %.1f kPa gauge after 138", tank[0], tank[len(tank)-1])
	}
	// Newton's second law along the ram's path while neck force is small: at
	// the peak the ram's force is the head form's mass times its acceleration.
	at := int(math.Round((s.Truth.PeakAtS - s.StartS) * s.RateHz))
	force := s.Channel("ram_force").Values[at] + s.Channel("fy").Values[at]
	if want := 6.4 * s.Channel("ay").Values[at] * 9.80665; math.Abs(force-want) > 0.05*want {
		t.Errorf("ram and neck push with %.0f N, mass times acceleration is %.0f N", force, want)
	}
}

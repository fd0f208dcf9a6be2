package limits_test

import (
	"math"
	"strings"
	"testing"

	"thudbook/metrics/limits"
)

func TestDefinitionsAreComplete(t *testing.T) {
	seen := map[string]bool{}
	for _, d := range limits.Definitions() {
		if d.ID == "" || d.Metric == "" || d.Words == "" || d.Form == "" || d.Source == "" || len(d.Constants) == 0 || seen[d.ID] {
			t.Errorf("definition %+v is incomplete or doubled", d)
		}
		seen[d.ID] = true
		if len([]rune(d.Words)) > 40 {
			t.Errorf("%s: %q is too long for a table", d.ID, d.Words)
		}
		names := map[string]bool{}
		for _, c := range d.Constants {
			if c.Name == "" || names[c.Name] || !(c.Value >= 0) || math.IsInf(c.Value, 0) {
				t.Errorf("%s: constant %+v is incomplete or doubled", d.ID, c)
			}
			names[c.Name] = true
			if d.Value(c.Name) != c.Value {
				t.Errorf("%s: %s is looked up as %g", d.ID, c.Name, d.Value(c.Name))
			}
		}
		if hides := !strings.Contains(d.Citation(), limits.Unconfirmed); hides != d.Confirmed() {
			t.Errorf("%s: confirmed %t, but the citation reads %q", d.ID, d.Confirmed(), d.Citation())
		}
		if got, ok := limits.Lookup(d.ID); !ok || got.ID != d.ID {
			t.Errorf("%s is not found", d.ID)
		}
	}
	if len(seen) < 12 {
		t.Errorf("only %d definitions", len(seen))
	}
	if _, ok := limits.Lookup("no-such"); ok {
		t.Error("an unknown id is found")
	}
}

// Windows and limits of the head injury criterion are printed in 49 CFR 571.208,
// 300 g in 16 CFR 1203.12(d)(2): these may be called confirmed. What rests on
// memory must not be.
func TestWhatIsConfirmed(t *testing.T) {
	confirmed := map[string]bool{}
	for _, l := range limits.All() {
		if l.ID == "" || l.Result == "" || !(l.Most > 0) || l.Source == "" || l.Note == "" {
			t.Errorf("limit %+v is incomplete", l)
		}
		if _, twice := confirmed[l.ID]; twice {
			t.Errorf("limit %s stands there twice", l.ID)
		}
		confirmed[l.ID] = l.Confirmed
	}
	for id, want := range map[string]bool{
		"571.208-hic15": true, "571.208-hic36": true, "1203-peak": true,
		"571.218-peak": false, "571.218-dwell-200g": false, "571.218-dwell-150g": false,
		"football-si": false, "football-si-low-drop": false, "football-ram-alpha": false,
	} {
		if got, ok := confirmed[id]; !ok || got != want {
			t.Errorf("limit %s: confirmed %t, there %t; want %t", id, got, ok, want)
		}
	}
	for id, want := range map[string]bool{"hic-571.208": true, "bric-2013": false, "damage-2019": false, "harm-2020": false, "gambit-a": false, "severity-index-4g": false} {
		if d := limits.Define(id); d.Confirmed() != want {
			t.Errorf("definition %s: confirmed %t, want %t", id, d.Confirmed(), want)
		}
	}
}

func TestFind(t *testing.T) {
	if got := limits.Find("severity_index"); len(got) != 2 || got[0].Most != 1200 || got[1].Most != 300 {
		t.Errorf("severity index: %+v", got)
	}
	if got := limits.Find("ram_energy"); got != nil {
		t.Errorf("energy: %+v, want none", got)
	}
	// 49 CFR 571.208 prints 700 for 15 ms
	if got := limits.Printed("hic15", 700, ""); len(got) != 1 || got[0].Source != "49 CFR 571.208" || !got[0].Confirmed {
		t.Errorf("HIC15 of 700: %+v", got)
	}
	if got := limits.Printed("dwell_150g", 4, "ms"); len(got) != 1 || got[0].Confirmed {
		t.Errorf("dwell of 4 ms: %+v", got)
	}
	if got := limits.Printed("peak_angular_acceleration", 6000, "rad/s²"); len(got) != 1 {
		t.Errorf("6000 rad/s²: %+v", got)
	}
	if got := limits.Printed("hic15", 650, ""); len(got) != 0 {
		t.Errorf("HIC15 of 650: %+v, want none", got)
	}
	if got := limits.Printed("peak_linear_acceleration", 300, "m/s2"); len(got) != 0 {
		t.Errorf("300 m/s² is not 300 g: %+v", got)
	}
}

func TestJudge(t *testing.T) {
	hic := limits.Find("hic15")[0]
	peak := limits.Limit{Result: "peak_linear_acceleration", Most: 300, Unit: "g"}
	for _, tc := range []struct {
		name          string
		m             limits.Measured
		l             limits.Limit
		within, close bool
		margin, share float64
		words         string
	}{
		{"below", limits.Measured{Value: 560}, hic, true, false, 140, 0.2, "within the limit by 140"},
		{"at", limits.Measured{Value: 700}, hic, true, false, 0, 0, "within the limit by 0"},
		{"above", limits.Measured{Value: 735}, hic, false, false, -35, -0.05, "above the limit by 35"},
		{"far above", limits.Measured{Value: 2700}, hic, false, false, -2000, -2000. / 700, "above the limit by 2000"},
		{"close below", limits.Measured{Value: 294, Unit: "g", Expanded: new(7.5)}, peak, true, true, 6, 0.02, "within the limit by 6 g, less than the expanded uncertainty of 7.5 g"},
		{"close above", limits.Measured{Value: 306, Unit: "g", Expanded: new(7.5)}, peak, false, true, -6, -0.02, "above the limit by 6 g, less than the expanded uncertainty of 7.5 g"},
		{"clear", limits.Measured{Value: 290, Unit: "g", Expanded: new(7.5)}, peak, true, false, 10, 1. / 30, "within the limit by 10 g"},
	} {
		v := limits.Judge(tc.m, tc.l)
		if !v.Comparable || v.Within != tc.within || v.Close != tc.close || math.Abs(v.Margin-tc.margin) > 1e-12 || math.Abs(v.Share-tc.share) > 1e-12 || v.Words != tc.words {
			t.Errorf("%s: %+v", tc.name, v)
		}
	}
	// 300 g is 2941.995 m/s² (G0 = 9.80665 m/s² by definition)
	if v := limits.Judge(limits.Measured{Value: 2900, Unit: "m/s2"}, peak); !v.Comparable || !v.Within || math.Abs(v.Limit-2941.995) > 1e-9 || math.Abs(v.Margin-41.995) > 1e-9 {
		t.Errorf("another unit: %+v", v)
	}
	for _, m := range []limits.Measured{{Value: 100, Unit: "ms"}, {Value: 100}, {Value: math.NaN(), Unit: "g"}, {Value: math.Inf(1), Unit: "g"}} {
		if v := limits.Judge(m, peak); v.Comparable || v.Within || !strings.HasPrefix(v.Words, "not compared") {
			t.Errorf("%+v: %+v", m, v)
		}
	}
}

func TestUnknownNamesPanic(t *testing.T) {
	for name, f := range map[string]func(){
		"definition": func() { limits.Define("no-such") },
		"constant":   func() { d := limits.Define("harm-2020"); d.Value("C3") },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("unknown %s: no panic", name)
				}
			}()
			f()
		}()
	}
}

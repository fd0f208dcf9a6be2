package chanmap_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/signal"
)

func TestGuessDescribed(t *testing.T) {
	const lin, ang = signal.LinearAcceleration, signal.AngularVelocity
	m, unsure := chanmap.GuessDescribed("iso13499", []chanmap.Described{
		{Column: "r", Name: "ram x", Measures: lin, Axis: "x", Unit: "g"},
		{Column: "a", Name: "head x", Measures: lin, Axis: "x", Unit: "m/(s*s)", Head: true},
		{Column: "b", Name: "head x again", Measures: lin, Axis: "-x", Unit: "g", Head: true},
		{Column: "c", Name: "head y", Measures: lin, Axis: "-y", SI: true, Head: true},
		{Column: "d", Name: "rate", Measures: ang, Unit: "furlong", Head: true},
		{Column: "e", Name: "volts", Measures: lin, Axis: "z", Unit: "mV", Head: true},
		{Column: "f", Name: "moment", Why: "nothing needs it"},
		{Column: "g", Name: "gate", Measures: signal.LightGate, Axis: "x", Unit: "V"},
		{Column: "h", Name: "tank", Measures: signal.Pressure, Unit: "bar"},
		{Column: "i", Name: "neck", Measures: signal.Force, Axis: "z", Unit: "kN"},
	})
	want := []string{"time", "a=linear acceleration x m/s2 1000", "c=linear acceleration -y m/s2 1000", "d=angular velocity x rad/s 180",
		"g=light gate  V 0", "h=pressure  bar 0", "i=force z kN 0"}
	got := short(m)
	got[0] = strings.TrimSpace(got[0])
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	sentences := []string{"on the head measures the same", `from channel "head x" already`, `"head y" names no unit; m/s2`, `"rate" names no axis`, `("furlong" is not known)`, "sensitivity is needed", "nothing needs it"}
	if len(unsure) != len(sentences) {
		t.Errorf("unsure %q", unsure)
	}
	for i, s := range sentences {
		if i < len(unsure) && !strings.Contains(unsure[i], s) {
			t.Errorf("sentence %d is %q, want %q in it", i+1, unsure[i], s)
		}
	}
	// The proposal is a valid map of files that hold their own times.
	var b bytes.Buffer
	if err := chanmap.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	back, err := chanmap.Parse(&b, "map.toml")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(m, *back); d != "" {
		t.Errorf("(-proposed +read):\n%s", d)
	}
	if m, unsure := chanmap.GuessDescribed("wav", nil); len(m.Channels) > 0 || len(unsure) != 1 {
		t.Errorf("nothing described: %+v %q", m, unsure)
	}
}

func TestKindsInMaps(t *testing.T) {
	text := "[format]\nkind = \"KIND\"\n[complete]\nrule = \"RULE\"\nrows = 5\nfooter = \"x\"\n[[channel]]\ncolumn = 1\nmeasures = \"light gate\"\nunit = \"count\"\n"
	for _, tc := range []struct {
		kind, rule string
		line       int // of the fault, 0 for none
		key        string
	}{
		{"wav", "quiet", 0, ""}, {"uff58", "footer", 0, ""}, {"iso13499", "quiet", 0, ""},
		{"wav", "rows", 4, "complete.rule"}, {"uff58", "rows", 4, "complete.rule"}, {"iso13499", "footer", 4, "complete.rule"},
		{"delimited", "rows", 3, "key time"},
	} {
		_, err := chanmap.Parse(strings.NewReader(strings.NewReplacer("KIND", tc.kind, "RULE", tc.rule).Replace(text)), "rig.toml")
		f, bad := fault.As(err)
		if bad != (tc.key != "") || bad && !strings.Contains(f.What, tc.key) || bad && tc.line == 4 && f.Line != 4 {
			t.Errorf("%s with rule %s: %v", tc.kind, tc.rule, err)
		}
	}
}

// The letters are those of ISO/TS 13499, from memory, not confirmed against print.
func TestParseCFC(t *testing.T) {
	for text, want := range map[string]int{"1000": 1000, "CFC 180": 180, "cfc_60": 60, "A": 1000, "b": 600, "C": 180, "D": 60, " 155 ": 155} {
		if n, ok := chanmap.ParseCFC(text); !ok || n != want {
			t.Errorf("ParseCFC(%q) = %d, %t; want %d", text, n, ok, want)
		}
	}
	for _, text := range []string{"", "P", "S", "-60", "0", "1000 Hz", "NOVALUE", "999999999"} {
		if n, ok := chanmap.ParseCFC(text); ok {
			t.Errorf("ParseCFC(%q) = %d, want none", text, n)
		}
	}
}

package stocklist_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thudbook/server/stocklist"
	"thudbook/sync/lab"
	"thudbook/web/httpkit"
)

func places(err error) []string {
	var out []string
	for _, p := range httpkit.Problems(err) {
		out = append(out, p.Where+": "+p.What)
		if p.Fix == "" {
			out = append(out, "no fix: "+p.What)
		}
	}
	return out
}

func plan(t *testing.T, text string, have ...stocklist.Have) (*stocklist.Plan, error) {
	t.Helper()
	l, err := stocklist.Read([]byte(text))
	if err != nil {
		return nil, err
	}
	return l.Compare(have)
}

// A list as it might come from a spreadsheet: semicolons, a byte order mark,
// CRLF, heads in capitals, thousands with a space.
func TestPlanByHand(t *testing.T) {
	have := []stocklist.Have{
		{Item: lab.Item{Class: "ram", Serial: "R-1", Name: "ram one", ServiceEveryStrokes: 500}},
		{Item: lab.Item{Class: "sensor", Serial: "S-7", CalibrationRequired: true, AssetNumber: "A-7"}, State: lab.StateAtCalibration, Location: "out"},
		{Item: lab.Item{Class: "neck", Serial: "N-1"}, Location: "rig one"},
	}
	text := "\ufeffClass;Serial;Asset number;Service every strokes;State;Location;Calibration required\r\n" +
		"Ram;r-1;A-1;1 000;;;\r\n" +
		"sensor;S-7;A-7;;in service;shelf 2;yes\r\n" +
		"neck;N-1;;;;rig one;no\r\n" +
		";;;;;;\r\n" +
		"hose;H-3;A-3;;quarantined;\"store; left\";\r\n" +
		"camera;N-1;;;;;\r\n"
	p, err := plan(t, text, have...)
	if err != nil {
		t.Fatal(places(err))
	}
	if p.New != 2 || p.Edit != 2 || p.All != 5 {
		t.Errorf("%d new, %d changed of %d; want 2, 2 of 5", p.New, p.Edit, p.All)
	}
	want := []string{
		"2 ram one, R-1? asset_number: →A-1, service_every_strokes: 500→1000",
		"3 sensor, S-7? state: at calibration→in service, location: out→shelf 2",
		"4 neck, N-1? ",
		"6 hose, H-3! class: →hose, serial: →H-3, asset_number: →A-3, state: in service→quarantined, location: →store; left",
		"7 camera, N-1! class: →camera, serial: →N-1",
	}
	for i, l := range p.Lines {
		mark, changes := "?", []string{}
		if l.New {
			mark = "!"
		}
		for _, c := range l.Changes {
			changes = append(changes, c.Field+": "+c.From+"→"+c.To)
		}
		// The serial number stands as the register has it.
		if got := fmt.Sprintf("%d %s%s %s", l.Line, l.Title, mark, strings.Join(changes, ", ")); got != want[i] {
			t.Errorf("\n got %s\nwant %s", got, want[i])
		}
	}
	if got := p.Lines[3].State; got == nil || got.State != lab.StateQuarantined || got.Location != "store; left" {
		t.Errorf("state of the hose: %+v", got)
	}
	if !strings.Contains(p.Lines[4].Note, "neck, N-1") {
		t.Errorf("the serial number of another class is not pointed out: %q", p.Lines[4].Note)
	}
	again, err := plan(t, text, have...)
	if err != nil || again.Digest() != p.Digest() {
		t.Error("the same list and register give another digest")
	}
	have[0].Item.AssetNumber = "A-1"
	if moved, err := plan(t, text, have...); err != nil || moved.Digest() == p.Digest() {
		t.Error("a register that changed gives the same digest")
	}
}

// A class is written as the programs know it, and what the register has keeps
// the class that it has, known or not.
func TestClassOfNewItems(t *testing.T) {
	have := stocklist.Have{Item: lab.Item{Class: "wrench", Serial: "W-1"}}
	p, err := plan(t, "class,serial,name\nLight  GATE,L-1,\nwrench,W-1,the long one\nOther,O-1,\n", have)
	if err != nil {
		t.Fatal(places(err))
	}
	var got []string
	for _, l := range p.Lines {
		got = append(got, l.Item.Class)
	}
	if want := []string{lab.ClassLightGate, "wrench", "other"}; !slices.Equal(got, want) {
		t.Errorf("classes %q, want %q", got, want)
	}
	if _, err := plan(t, "class,serial\nwrench,W-2\n", have); len(places(err)) != 1 {
		t.Errorf("another wrench: %v", places(err))
	}
}

func TestFaultsNameLineAndColumn(t *testing.T) {
	have := stocklist.Have{Item: lab.Item{Class: "ram", Serial: "R-1", AssetNumber: "A-1"}}
	for text, want := range map[string][]string{
		"":                                 {"line 1: The list is empty."},
		"class,serial\nram,\xff":           {"line 2: The text is not UTF-8."},
		"class,colour\nram,red\n":          {"line 1, column 2: There is no column “colour”.", "line 1, column serial: The column is missing."},
		"class,serial,serial\n":            {"line 1, column serial: The column stands here twice."},
		"class,serial\nram\n\nneck,N\n":    {"line 2, column serial: The cell is empty."},
		"class,serial\nram,R\nRAM, r \n":   {"line 3, column serial: The RAM with serial number r stands in line 2 already."},
		"class,serial\nram,R\nrobot,R-9\n": {"line 3, column class: “robot” is no class of equipment."},
		"class,serial,state\nram,R,\nRAM,r,\nneck,N,lent\nhose,H,gone": {"line 3, column serial: The RAM with serial number r stands in line 2 already.",
			"line 4, column state: “lent” is no state.", "line 5, column state: “gone” is no state."},
		"class,serial,asset_number\nrobot,1,\nhose,2,A-1\nrobot,3,": {"line 2, column class: “robot” is no class of equipment.",
			"line 3, column asset_number: The asset number A-1 is that of ram, R-1.", "line 4, column class: “robot” is no class of equipment."},
		"class,serial\nram,R,x\n":                       {"line 2, column 3: “x” stands in a column without a name."},
		"class,serial\nram,\"R\" x\n":                   {"line 2: The line cannot be read from character 7 on: extraneous or missing \" in quoted-field."},
		"class,serial,state\nram,R,lent":                {"line 2, column state: “lent” is no state."},
		"class,serial,asset_number\nhose,H,a-1":         {"line 2, column asset_number: The asset number a-1 is that of ram, R-1."},
		"class,serial,asset_number\nhose,H,B\nhose,I,b": {"line 3, column asset_number: The asset number b stands in line 2 already."},
		"class,serial,service_every_strokes,calibration_required,opening_strokes\nram,R,1.5,perhaps,-3\nram,S,x,,\n": {
			"line 2, column service_every_strokes: “1.5” is no whole number.", "line 2, column calibration_required: “perhaps” is neither yes nor no.",
			"line 2, column opening_strokes: “-3” is no whole number.", "line 3, column service_every_strokes: “x” is no whole number."},
		"class,serial,name\nram,R,\"two\nlines\"\nram,,\n":                {"line 4, column serial: The cell is empty."},
		"class,serial,service_every_days\nram,R,99999\n":                  {"line 2, column service_every_days: 99999 days is more than a hundred years"},
		"class,serial,name\nram,R," + strings.Repeat("x", 201) + "\n":     {"line 2, column name: the text has 201 characters, the most is 200"},
		"class,serial,location\nram,R," + strings.Repeat("y", 201) + "\n": {"line 2, column location: the text has more than 200 characters"},
	} {
		_, err := plan(t, text, have)
		if got := places(err); !slices.Equal(got, want) {
			t.Errorf("%.60q\n got %q\nwant %q", text, got, want)
		}
	}
	many := "class,serial\n"
	for i := range stocklist.MaxLines + 1 {
		many += fmt.Sprintf("hose,%d\n", i)
	}
	if _, err := stocklist.Read([]byte(many)); len(places(err)) != 1 || !strings.HasPrefix(places(err)[0], "line 2002: ") {
		t.Errorf("too many lines: %v", places(err))
	}
}

// What is exported and read again changes nothing in the register that it came
// from, and makes the same register out of an empty one.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "=1+1", "'=x", "-", "@a", "+4", "a;b,c\t\"d\"", " spaced ", "two\nlines", "\ttab", "'", "ünï"}))
		var have []stocklist.Have
		seen := map[string]bool{}
		for i := range rapid.IntRange(0, 6).Draw(rt, "items") {
			h := stocklist.Have{Item: lab.Item{
				Class: rapid.SampledFrom(stocklist.Classes()).Draw(rt, "class"), Serial: text.Draw(rt, "serial"),
				Name: text.Draw(rt, "name"), Maker: text.Draw(rt, "maker"), Model: text.Draw(rt, "model"),
				ServiceEveryStrokes: rapid.Int64Range(0, 1e6).Draw(rt, "strokes"), ServiceEveryDays: rapid.Int64Range(0, 3000).Draw(rt, "days"),
				OpeningStrokes: rapid.Int64Range(0, 1e6).Draw(rt, "opening"), CalibrationRequired: rapid.Bool().Draw(rt, "calibration"),
			}, State: rapid.SampledFrom(lab.States()).Draw(rt, "state"), Location: text.Draw(rt, "location")}
			if rapid.Bool().Draw(rt, "asset") {
				h.Item.AssetNumber = fmt.Sprintf("=A%d", i)
			}
			key := lab.Fold(h.Item.Class + " " + h.Item.Serial)
			if lab.Fold(h.Item.Serial) == "" || seen[key] {
				continue
			}
			seen[key], have = true, append(have, h)
		}
		var b bytes.Buffer
		if err := stocklist.Write(&b, have); err != nil {
			rt.Fatalf("write: %v", err)
		}
		l, err := stocklist.Read(b.Bytes())
		if err != nil {
			rt.Fatalf("%q: %v", b.String(), places(err))
		}
		p, err := l.Compare(have)
		if err != nil || p.All != len(have) || p.New+p.Edit != 0 {
			rt.Fatalf("%q: %+v, %v", b.String(), p, places(err))
		}
		fresh, err := l.Compare(nil)
		if err != nil || fresh.New != len(have) {
			rt.Fatalf("%q into an empty register: %+v, %v", b.String(), fresh, places(err))
		}
		var made []stocklist.Have
		for _, x := range fresh.Lines {
			h := stocklist.Have{Item: x.Item}
			if x.State != nil {
				h.State, h.Location = x.State.State, x.State.Location
			}
			made = append(made, h)
		}
		if p, err := l.Compare(made); err != nil || p.New+p.Edit != 0 {
			rt.Fatalf("%q: the register that it makes is another: %+v, %v", b.String(), p, places(err))
		}
		// No cell begins with what a spreadsheet would carry out.
		cells, err := csv.NewReader(bytes.NewReader(b.Bytes())).ReadAll()
		if err != nil {
			rt.Fatalf("read: %v", err)
		}
		for _, c := range slices.Concat(cells...) {
			if c != "" && strings.ContainsRune("=+-@\t\r", rune(c[0])) {
				rt.Fatalf("the cell %q begins a formula", c)
			}
		}
	})
}

// Any bytes give a list or faults with a place, never a panic.
func FuzzRead(f *testing.F) {
	f.Add([]byte("class,serial\nram,R-1\n"))
	f.Add([]byte("class;serial\n\"a\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		l, err := stocklist.Read(b)
		if err == nil {
			_, err = l.Compare(nil)
		}
		for _, p := range httpkit.Problems(err) {
			if !strings.HasPrefix(p.Where, "line ") {
				t.Errorf("a fault without its line: %v", p)
			}
		}
	})
}

// A new item of which the list does not say whether it needs calibration needs it
// as is usual for its kind, and the plan shows that; one that is there stays as it is.
func TestCalibrationAsUsual(t *testing.T) {
	have := stocklist.Have{Item: lab.Item{Class: "sensor", Serial: "S-1"}, State: lab.StateInService}
	p, err := plan(t, "class,serial,calibration_required\nsensor,S-1,\nSensor,S-2,\nlight gate,G-1,\nsensor,S-3,no\nhose,H-1,\n", have)
	if err != nil {
		t.Fatal(places(err))
	}
	var got []string
	for _, l := range p.Lines {
		shown := slices.ContainsFunc(l.Changes, func(c stocklist.Change) bool { return c.Field == "calibration_required" && c.To == "yes" })
		got = append(got, fmt.Sprintf("%s %t %t", l.Item.Serial, l.Item.CalibrationRequired, shown))
	}
	if want := []string{"S-1 false false", "S-2 true true", "G-1 true true", "S-3 false false", "H-1 false false"}; !slices.Equal(got, want) {
		t.Errorf("item, needs it, shown: %q; want %q", got, want)
	}
}

package format_test

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"unicode/utf16"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format"
	"thudbook/metrics/signal"
)

// plain is the recording that every oddity below writes in another way.
const plain = "t,ax,wz\n0.0000,1.5,-0.25\n0.0001,-20,0\n0.0002,300.125,1e-3\n0.0003,0,2.5\n"

// rigMap binds the columns of plain.
func rigMap(edit ...func(*chanmap.Map)) *chanmap.Map {
	m := &chanmap.Map{
		Time: chanmap.Time{Column: "t", Unit: "s"},
		Channels: []chanmap.Channel{
			{Column: "ax", Measures: "linear acceleration", Axis: "x", Unit: "g", CFC: 1000},
			{Column: "wz", Measures: "angular velocity", Axis: "z", Unit: "rad/s", CFC: 180},
		},
	}
	for _, e := range edit {
		e(m)
	}
	return m
}

func read(t *testing.T, text string, m *chanmap.Map) (*format.Reading, error) {
	t.Helper()
	return format.Read(t.Context(), strings.NewReader(text), format.Options{Name: "shot.csv", Map: m})
}

// wantPlain checks that a reading is that of plain.
func wantPlain(t *testing.T, r *format.Reading, err error) {
	t.Helper()
	if err != nil {
		t.Fatalf("Read: %v", err)
	}
	if len(r.Faults) > 0 {
		t.Errorf("faults: %v", r.Faults)
	}
	rec := &r.Recording
	if rec.TimeS != nil || rec.Uneven || rec.StartS != 0 || rec.RateHz != 10000 {
		t.Errorf("time base: start %v rate %v uneven %t times %v, want 0, 10000, even", rec.StartS, rec.RateHz, rec.Uneven, rec.TimeS)
	}
	want := [][]float64{{1.5, -20, 300.125, 0}, {-0.25, 0, 0.001, 2.5}}
	if len(rec.Channels) != 2 {
		t.Fatalf("%d channels, want 2", len(rec.Channels))
	}
	for i, c := range rec.Channels {
		if len(c.Values) != 4 {
			t.Fatalf("channel %s has %d values, want 4", c.Name, len(c.Values))
		}
		for j, v := range c.Values {
			if v != want[i][j] {
				t.Errorf("channel %s sample %d = %v, want %v", c.Name, j, v, want[i][j])
			}
		}
	}
	if rec.Channels[0].Measures != signal.LinearAcceleration || rec.Channels[0].Axis != signal.X || rec.Channels[0].Unit != "g" ||
		rec.Channels[1].Measures != signal.AngularVelocity || rec.Channels[1].Axis != signal.Z || rec.Channels[1].Unit != "rad/s" {
		t.Errorf("channels: %+v", rec.Channels)
	}
}

func utf16Text(s string, order binary.AppendByteOrder, mark bool) string {
	if mark {
		s = "\ufeff" + s
	}
	var b []byte
	for _, u := range utf16.Encode([]rune(s)) {
		b = order.AppendUint16(b, u)
	}
	return string(b)
}

func replace(pairs ...string) string { return strings.NewReplacer(pairs...).Replace(plain) }

// The oddities are common practice of acquisition programs, no published source.
func TestOddities(t *testing.T) {
	tests := map[string]string{
		"as it is":                    plain,
		"semicolons":                  replace(",", ";"),
		"tabs":                        replace(",", "\t"),
		"bars":                        replace(",", "|"),
		"blanks":                      replace(",", " "),
		"aligned with blanks":         replace(",", "    ", "\n", "  \n  "),
		"blanks and tabs":             replace(",", " \t "),
		"blanks behind the commas":    replace(",", ", "),
		"decimal comma":               replace(",", ";", ".", ","),
		"decimal comma with tabs":     replace(",", "\t", ".", ","),
		"decimal comma with blanks":   replace(",", "  ", ".", ","),
		"decimal comma in quotes":     "t,ax,wz\n\"0,0000\",\"1,5\",\"-0,25\"\n\"0,0001\",-20,0\n\"0,0002\",\"300,125\",\"1e-3\"\n\"0,0003\",0,\"2,5\"\n",
		"quoted headers":              replace("t,ax,wz", `"t","ax","wz"`),
		"quoted headers, delimiter":   replace("t,ax,wz", `"t","ax","wz","note, free"`, "-0.25\n", "-0.25,\n", ",0\n", ",0,\n", "1e-3\n", "1e-3,\n", "2.5\n", "2.5,\n"),
		"quoted numbers":              replace("300.125", `"300.125"`),
		"CRLF":                        replace("\n", "\r\n"),
		"CR":                          replace("\n", "\r"),
		"no line end at the end":      strings.TrimSuffix(plain, "\n"),
		"byte order mark":             "\ufeff" + plain,
		"UTF-16 LE with mark":         utf16Text(plain, binary.LittleEndian, true),
		"UTF-16 BE with mark":         utf16Text(plain, binary.BigEndian, true),
		"UTF-16 LE without mark":      utf16Text(plain, binary.LittleEndian, false),
		"UTF-16 BE without mark":      utf16Text(plain, binary.BigEndian, false),
		"Latin-1 in the header":       replace("t,ax,wz", "t,ax,wz,\xb5\xb0", "-0.25\n", "-0.25,1\n", ",0\n", ",0,1\n", "1e-3\n", "1e-3,1\n", "2.5\n", "2.5,1\n"),
		"lines before the header":     "Recorder export\nSerial;;A-17\nRate,10000\nRange,500,g\n\n" + plain,
		"many pairs before it":        strings.Repeat("Key,1\n", 30) + plain,
		"a row of units":              replace("t,ax,wz\n", "t,ax,wz\ns,g,rad/s\n"),
		"a row of units in brackets":  replace("t,ax,wz\n", "t,ax,wz\n[s],[g],[rad/s]\n\n"),
		"a rule under the header":     replace("t,ax,wz\n", "t,ax,wz\n----------\n"),
		"comments":                    "# made by hand\n% and more\n// and more\n" + replace("0.0002", "# pause\n0.0002"),
		"the header in a comment":     "# t ax wz\n" + strings.TrimPrefix(replace(",", " "), "t ax wz\n"),
		"header with other delimiter": "t\tax\twz\n" + strings.TrimPrefix(replace(",", " "), "t ax wz\n"),
		"a trailing delimiter":        replace("\n", ",\n"),
		"trailing in the rows only":   replace("wz\n", "wz\n", "-0.25\n", "-0.25,\n", ",0\n", ",0,\n", "1e-3\n", "1e-3,\n", "2.5\n", "2.5,\n"),
		"a blank column":              replace(",", ",,"),
		"a column of text":            replace("wz\n", "wz,status\n", "-0.25\n", "-0.25,OK\n", ",0\n", ",0,OK\n", "1e-3\n", "1e-3,OK\n", "2.5\n", "2.5,\n"),
		"blank lines":                 replace("\n0.0002", "\n\n  \n0.0002") + "\n\n",
		"scientific":                  "t,ax,wz\n0.00e+00,1.5E+00,-2.5e-1\n1.00e-04,-2.0e+01,0e0\n2.00e-04,3.00125e2,1e-3\n3.00e-04,0.0,+2.5\n",
		"19 digits":                   "t,ax,wz\n0.000000000000000000e+00,1.500000000000000000e+00,-2.500000000000000000e-01\n1.000000000000000048e-04,-2.000000000000000000e+01,0.000000000000000000e+00\n2.000000000000000096e-04,3.001250000000000000e+02,1.000000000000000021e-03\n2.999999999999999737e-04,0.0,2.500000000000000000e+00\n",
		"capitals and units":          replace("t,ax,wz", "T [s],AX (g),Wz [rad/s]"),
		"a footer":                    plain + "END OF DATA\n",
		"a footer with cells":         plain + "Max,,\n",
	}
	for name, text := range tests {
		t.Run(name, func(t *testing.T) {
			r, err := read(t, text, rigMap())
			wantPlain(t, r, err)
		})
		t.Run(name+", a byte at a time", func(t *testing.T) {
			r, err := format.Read(t.Context(), iotest.OneByteReader(strings.NewReader(text)), format.Options{Map: rigMap()})
			wantPlain(t, r, err)
		})
	}
}

func TestForced(t *testing.T) {
	// Whole numbers and one decimal comma far down: nothing shows the sign at first.
	var b strings.Builder
	b.WriteString("t;ax;wz\n")
	for range 50_000 {
		b.WriteString("0;0;0\n")
	}
	b.WriteString("1;0,5;0\n")
	m := rigMap(func(m *chanmap.Map) { m.Format.Delimiter, m.Format.Decimal = ";", "," })
	r, err := read(t, b.String(), m)
	if err != nil || r.Recording.Channels[0].Values[50_000] != 0.5 || len(r.Faults) > 0 {
		t.Fatalf("decimal comma forced: %v, faults %v", err, r.Faults)
	}
	r, err = read(t, b.String(), rigMap())
	if err != nil || len(r.Faults) != 1 || r.Faults[0].Line != 50_002 || !strings.Contains(r.Faults[0].Fix, "format.decimal") {
		t.Errorf("not forced: %v, %v; want a fault at line 50002 that names format.decimal", err, r.Faults)
	}

	// Numbers before the header that look like data.
	text := "1,2,3\n4,5,6\n7,8,9\n" + plain
	m = rigMap(func(m *chanmap.Map) { m.Format.HeaderRows = 4 })
	r, err = read(t, text, m)
	wantPlain(t, r, err)

	m = rigMap(func(m *chanmap.Map) { m.Format.Encoding = "utf-16be" })
	r, err = read(t, utf16Text(plain, binary.BigEndian, false), m)
	wantPlain(t, r, err)
	m = rigMap(func(m *chanmap.Map) { m.Format.Encoding = "latin1"; m.Channels[1].Column = "wz\u00b5" })
	r, err = read(t, replace("wz", "wz\xb5"), m)
	wantPlain(t, r, err)

	for _, kind := range []string{"iso13499", "uff58", "wav"} {
		_, err := read(t, plain, rigMap(func(m *chanmap.Map) { m.Format.Kind = kind }))
		if f, ok := fault.As(err); !ok || f.Code != fault.BadMap {
			t.Errorf("kind %s: %v, want bad_map", kind, err)
		}
	}
}

func TestBindByNumber(t *testing.T) {
	m := rigMap(func(m *chanmap.Map) { m.Time.Column, m.Channels[0].Column, m.Channels[1].Column = "1", "2", "3" })
	r, err := read(t, plain, m)
	wantPlain(t, r, err)
	if name := r.Recording.Channels[0].Name; name != "ax" {
		t.Errorf("name = %q, want the header text", name)
	}
	r, err = read(t, strings.TrimPrefix(plain, "t,ax,wz\n"), m)
	wantPlain(t, r, err)
	if name := r.Recording.Channels[0].Name; name != "column 2" {
		t.Errorf("name without header = %q", name)
	}
	// A header text of digits goes before a number.
	m.Channels[0].Column = "3"
	m.Channels[1].Column = "2"
	r, err = read(t, strings.Replace(plain, "t,ax,wz", "t,3,2", 1), m)
	wantPlain(t, r, err)
}

func TestUnitsAndPolarity(t *testing.T) {
	text := "t (ms);a [m/s²];w [°/s];p [psi];f [lbf];gate [mV];raw [mV]\n0,0;9,80665;180;20;1;5000;10\n0,1;-98,0665;-90;0;2;0;-20\n"
	m := &chanmap.Map{
		Time: chanmap.Time{Column: "t", Unit: "ms"},
		Channels: []chanmap.Channel{
			{Column: "a", Measures: "linear acceleration", Axis: "-y", Unit: "m/s2", FullScale: 4903.325, CFC: 600, Sensor: "A-1", PositionMM: [3]float64{1, 2, 3}, ExpandedUncertaintyPercent: 2},
			{Column: "w", Measures: "angular velocity", Axis: "+z", Unit: "deg/s"},
			{Column: "p", Measures: "pressure", Unit: "psi"},
			{Column: "f", Measures: "force", Axis: "-z", Unit: "lbf"},
			{Column: "gate", Measures: "light gate", Unit: "mV", FlagMM: 25},
			{Column: "raw", Measures: "linear acceleration", Axis: "x", Unit: "mV", Sensitivity: 0.2, FullScale: 100},
		},
	}
	r, err := read(t, text, m)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Unsure) > 0 || len(r.Faults) > 0 || r.Guessed {
		t.Errorf("unsure %q, faults %v", r.Unsure, r.Faults)
	}
	want := []struct {
		unit      string
		axis      signal.Axis
		fullScale float64
		values    [2]float64
	}{
		{"g", signal.Y, 500, [2]float64{-1, 10}},
		{"rad/s", signal.Z, 0, [2]float64{math.Pi, -math.Pi / 2}},
		{"kPa", signal.NoAxis, 0, [2]float64{137.89514586336722, 0}},
		{"N", signal.Z, 0, [2]float64{-4.4482216152605, -8.896443230521}},
		{"V", signal.NoAxis, 0, [2]float64{5, 0}},
		{"g", signal.X, 500, [2]float64{50, -100}},
	}
	for i, w := range want {
		c := r.Recording.Channels[i]
		if c.Unit != w.unit || c.Axis != w.axis || math.Abs(c.FullScale-w.fullScale) > 1e-12*w.fullScale {
			t.Errorf("channel %s: unit %s axis %s full scale %v, want %+v", c.Name, c.Unit, c.Axis, c.FullScale, w)
		}
		for j := range w.values {
			if math.Abs(c.Values[j]-w.values[j]) > 1e-14*math.Abs(w.values[j]) {
				t.Errorf("channel %s sample %d = %.17g, want %.17g (NIST SP 811 factors)", c.Name, j, c.Values[j], w.values[j])
			}
		}
	}
	a := r.Recording.Channels[0]
	if a.CFC != 600 || a.Sensor != "A-1" || a.PositionMM != [3]float64{1, 2, 3} || a.ExpandedUncertaintyPercent != 2 || r.Recording.Channels[4].FlagMM != 25 {
		t.Errorf("the map's data did not come along: %+v", a)
	}

	m.Channels[0].Unit, m.Time.Unit = "g", "s"
	r, err = read(t, text, m)
	conflicts := []format.UnitConflict{{Channel: r.Recording.Channels[0].Name, InFile: "m/s2", InMap: "g"}, {Channel: "t (ms)", InFile: "ms", InMap: "s"}}
	if err != nil || !slices.Equal(r.Conflicts, conflicts) || len(r.Unsure) > 0 {
		t.Errorf("units of file and map differ: %v, %+v, unsure %q; want %+v", err, r.Conflicts, r.Unsure, conflicts)
	}
}

func TestGuessed(t *testing.T) {
	r, err := read(t, plain, nil)
	wantPlain(t, r, err)
	if !r.Guessed || len(r.Unsure) != 4 || r.Map.Time.Unit != "s" || r.Map.Format.Delimiter != "," || r.Map.Format.HeaderRows != 1 {
		t.Errorf("guess: %+v, unsure %q", r.Map, r.Unsure)
	}
	r, err = read(t, "times,accel\n2.4,0\n2.6,-1.3\n3.2,-2.7\n3.6,0\n3.6,5\n", nil)
	if err != nil {
		t.Fatal(err)
	}
	if !r.Recording.Uneven || r.Recording.TimeS[0] != 0.0024 || r.Recording.TimeS[4] != 0.0036 || r.Map.Time.Unit != "ms" {
		t.Errorf("two columns: %+v", r.Recording)
	}
	r, err = read(t, "time,head acc x\nus,m/s2\n0,9.80665\n50,0\n100,0\n", nil)
	if err != nil || r.Recording.RateHz != 20000 || r.Recording.Channels[0].Values[0] != 1 {
		t.Errorf("units row: %v %+v", err, r)
	}
	r, err = read(t, "time,head acc x\n0,1\n50,0\n100,0\n", nil)
	if err != nil || r.Recording.RateHz != 20000 || r.Map.Time.Unit != "us" {
		t.Errorf("whole microseconds: %v %+v", err, r)
	}
}

func TestHeaders(t *testing.T) {
	h, u, err := format.Headers(t.Context(), strings.NewReader("junk\nt;ax\ns;g\n0;1\n1;2\n"))
	if err != nil || strings.Join(h, "|") != "t|ax" || strings.Join(u, "|") != "s|g" {
		t.Errorf("Headers = %q, %q, %v", h, u, err)
	}
	h, _, err = format.Headers(t.Context(), strings.NewReader("Zeit;a\xb5\n0;1\n1;2\n"))
	if err != nil || h[1] != "aµ" {
		t.Errorf("Latin-1 header = %q, %v", h, err)
	}
	if _, _, err = format.Headers(t.Context(), strings.NewReader("")); err == nil {
		t.Error("an empty file has headers")
	}
}

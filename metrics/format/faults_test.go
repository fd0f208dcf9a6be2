package format_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"testing/iotest"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format"
)

func TestUnusableFiles(t *testing.T) {
	tests := []struct {
		name, text   string
		m            *chanmap.Map
		code         fault.Code
		line, column int
		what         string
	}{
		{"empty", "", rigMap(), fault.Empty, 0, 0, "empty"},
		{"only a byte order mark", "\ufeff", rigMap(), fault.Empty, 0, 0, "blank"},
		{"blank lines", "\n \r\n\n", rigMap(), fault.Empty, 0, 0, "blank"},
		{"header only", "t,ax,wz\n", rigMap(), fault.NoData, 1, 0, "no row of numbers"},
		{"prose", "Dear all,\nthe recorder\nis broken.\n", rigMap(), fault.NoData, 3, 0, "no row of numbers"},
		{"zero bytes", "t,ax,wz\n0,1,2\n\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00", rigMap(), fault.Unreadable, 0, 0, "not text"},
		{"a header with one row cut short", "t,ax,wz\n0.0,1", rigMap(), fault.RowWidth, 1, 0, "3 texts"},
		{"one row", "t,ax,wz\n0.0,1,2\n", rigMap(), fault.NoData, 2, 0, "one row only"},
		{"no header", strings.TrimPrefix(plain, "t,ax,wz\n"), rigMap(), fault.NoHeader, 1, 0, "no header"},
		{"no header and no map", strings.TrimPrefix(plain, "t,ax,wz\n"), nil, fault.NoHeader, 1, 0, "no header"},
		{"header too long", replace("t,ax,wz", "t,ax,ay,wz"), rigMap(), fault.RowWidth, 1, 0, "4 texts"},
		{"header too short", replace("t,ax,wz", "t,ax"), rigMap(), fault.RowWidth, 1, 0, "2 texts"},
		{"no time column", replace("t,ax", "q,ax"), rigMap(), fault.TimeColumn, 1, 0, `no column "t"`},
		{"time column twice", replace("t,ax,wz", "t,ax,t"), rigMap(), fault.TimeColumn, 1, 0, "columns 1 and 3"},
		{"time column number too high", plain, rigMap(func(m *chanmap.Map) { m.Time.Column = "9" }), fault.TimeColumn, 1, 0, "no column 9"},
		{"neither time nor rate", plain, rigMap(func(m *chanmap.Map) { m.Time = chanmap.Time{} }), fault.TimeColumn, 1, 0, "no sample rate"},
		{"nothing recognised", "t,foo,bar\n0,1,2\n1,2,3\n", nil, fault.MissingColumn, 1, 0, "recognised"},
		{"no channel of the map", "t,foo,bar\n0,1,2\n1,2,3\n", rigMap(), fault.MissingColumn, 1, 0, "other 1 channels"},
		{"text in the time", replace("0.0002", "later"), rigMap(), fault.TimeColumn, 4, 1, `"later"`},
		{"text in the first time", replace("0.0000,", "now,"), rigMap(), fault.TimeColumn, 2, 1, `"now"`},
		{"a missing time", replace("0.0002", ""), rigMap(), fault.TimeColumn, 4, 1, "missing"},
		{"NaN in the time", replace("0.0002", "NaN"), rigMap(), fault.TimeColumn, 4, 1, "NaN"},
		{"time backwards", replace("0.0002", "0.00005"), rigMap(), fault.TimeBackwards, 4, 1, "5e-05 comes after 0.0001"},
		{"two recordings in one file", plain + strings.TrimPrefix(plain, "t,ax,wz\n"), rigMap(), fault.TimeBackwards, 6, 1, "0 comes after 0.0003"},
		{"a second header", plain + plain, rigMap(), fault.TimeColumn, 6, 1, `"t"`},
		{"time stands still", "t,ax,wz\n1,2,3\n1,2,3\n1,2,3\n", rigMap(), fault.TimeColumn, 2, 1, "stands still"},
		{"short row in the middle", replace("-20,0", "-20"), rigMap(), fault.RowWidth, 3, 0, "2 values where 3"},
		{"long row in the middle", replace("-20,0", "-20,0,7"), rigMap(), fault.RowWidth, 3, 0, "4 values where 3"},
		{"short first row", replace("1.5,-0.25", "1.5"), rigMap(), fault.RowWidth, 2, 0, "2 values where 3"},
		{"long last row", plain + "0.0004,1,2,0.0005,1,2\n", rigMap(), fault.RowWidth, 6, 0, "6 values where 3"},
		{"two short rows at the end", plain + "0.0004,1\n0.0005,2\n", rigMap(), fault.RowWidth, 6, 0, "2 values"},
		{"text in the middle", replace("0.0002", "# note\nPAUSE\n0.0002"), rigMap(), fault.RowWidth, 5, 0, "1 value where 3"},
		{"the last row without any number", plain + "NaN,NaN,NaN\n", rigMap(), fault.TimeColumn, 6, 1, "NaN"},
		{"numbers behind a footer", plain + strings.Repeat("text\n", 30) + "1,2\n", rigMap(), fault.RowWidth, 6, 0, "1 value where 3"},
		{"rows behind a footer", plain + strings.Repeat("text\n", 30) + "1,2,3\n", rigMap(), fault.RowWidth, 6, 0, "1 value where 3"},
		{"line without end", "t,ax,wz\n0,1,2\n1," + strings.Repeat("1", 3<<20) + ",2\n", rigMap(), fault.TooLarge, 3, 0, "longer than 1 MiB"},
		{"nothing but a line without end", strings.Repeat("1", 5<<20), rigMap(), fault.TooLarge, 1, 0, "no line end"},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			r, err := read(t, tc.text, tc.m)
			f, ok := fault.As(err)
			if !ok {
				t.Fatalf("Read = %+v, %v; want a fault", r, err)
			}
			if r != nil {
				t.Error("a recording comes with the error")
			}
			if f.Code != tc.code || f.Line != tc.line || f.Column != tc.column || !strings.Contains(f.What, tc.what) {
				t.Errorf("fault %s, line %d, column %d: %s\nwant %s, line %d, column %d with %q", f.Code, f.Line, f.Column, f.What, tc.code, tc.line, tc.column, tc.what)
			}
			if f.Fix == "" {
				t.Error("the fault names no fix")
			}
		})
	}
}

func TestPartlyReadable(t *testing.T) {
	const (
		ax = 0
		wz = 1
	)
	tests := []struct {
		name, text   string
		code         fault.Code
		line, column int
		channel      string
		what         string
		nan          map[int][]int // channel → samples that are NaN
		rows         int
	}{
		{"text in a number column", replace("300.125", "OVER"), fault.BadNumber, 4, 2, "ax", `"OVER" is no number`, map[int][]int{ax: {2}}, 4},
		{"text in the first row", replace("1.5,-0.25", "abc,-0.25"), fault.BadNumber, 2, 2, "ax", `"abc"`, map[int][]int{ax: {0}}, 4},
		{"NaN", replace("-0.25", "NaN"), fault.NotFinite, 2, 3, "wz", `"NaN" is not finite`, map[int][]int{wz: {0}}, 4},
		{"infinite", replace("300.125", "-inf"), fault.NotFinite, 4, 2, "ax", "not finite", map[int][]int{ax: {2}}, 4},
		{"too large for a number", replace("300.125", "1e999"), fault.NotFinite, 4, 2, "ax", "not finite", map[int][]int{ax: {2}}, 4},
		{"a missing value", replace("300.125", ""), fault.BadNumber, 4, 2, "ax", "missing", map[int][]int{ax: {2}}, 4},
		{"a dead channel", "t,ax,wz\n0.0000,-,1\n0.0001,-,2\n0.0002,-,3\n0.0003,-,4\n", fault.BadNumber, 2, 2, "ax", "first of 4", map[int][]int{ax: {0, 1, 2, 3}}, 4},
		{"several, with line of the first", replace("-20,", "x,", "300.125", "y"), fault.BadNumber, 3, 2, "ax", "first of 2", map[int][]int{ax: {1, 2}}, 4},
		{"a comment sign for a value", replace("0.0002,300.125,1e-3", "0.0002,#,1e-3"), fault.BadNumber, 4, 2, "ax", `"#"`, map[int][]int{ax: {2}}, 4},
		{"comments do not shift lines", "# a\n# b\n" + replace("300.125", "OVER"), fault.BadNumber, 6, 2, "ax", "OVER", map[int][]int{ax: {2}}, 4},
		{"CRLF does not either", strings.ReplaceAll("one\ntwo\n\n"+replace("300.125", "OVER"), "\n", "\r\n"), fault.BadNumber, 7, 2, "ax", "OVER", map[int][]int{ax: {2}}, 4},
		{"last row cut short", strings.TrimSuffix(plain, ",2.5\n"), fault.Truncated, 5, 2, "", "cut short", nil, 3},
		{"cut in the time", strings.TrimSuffix(plain, "03,0,2.5\n"), fault.Truncated, 5, 1, "", "cut short", nil, 3},
		{"cut behind the delimiter", strings.TrimSuffix(plain, "2.5\n"), fault.Truncated, 5, 3, "", "cut short", nil, 3},
		{"cut in a sign", strings.TrimSuffix(plain, "2.5\n") + "-", fault.Truncated, 5, 3, "", "cut short", nil, 3},
		{"cut in the first sign", plain + "-", fault.Truncated, 6, 1, "", "cut short", nil, 4},
		{"cut, with line end", strings.TrimSuffix(plain, ",2.5\n") + "\n", fault.Truncated, 5, 2, "", "cut short", nil, 3},
		{"a missing column", replace("t,ax", "t,bx"), fault.MissingColumn, 1, 0, "ax", `no column "ax"`, nil, 4},
		{"a column twice", "t,wz,ax,ax\n0,1,2,3\n1e-4,1,2,3\n2e-4,1,2,3\n3e-4,1,2,3\n", fault.MissingColumn, 1, 0, "ax", "columns 3 and 4", nil, 4},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			r, err := read(t, tc.text, rigMap())
			if err != nil {
				t.Fatalf("Read: %v", err)
			}
			if len(r.Faults) != 1 {
				t.Fatalf("faults = %v, want one", r.Faults)
			}
			f := r.Faults[0]
			if f.Code != tc.code || f.Line != tc.line || f.Column != tc.column || f.Channel != tc.channel || !strings.Contains(f.What, tc.what) || f.Fix == "" {
				t.Errorf("fault %s, line %d, column %d, channel %q: %s\nwant %s, line %d, column %d, channel %q with %q",
					f.Code, f.Line, f.Column, f.Channel, f.What, tc.code, tc.line, tc.column, tc.channel, tc.what)
			}
			if r.Rows != tc.rows {
				t.Errorf("%d rows, want %d", r.Rows, tc.rows)
			}
			if tc.code == fault.MissingColumn {
				if len(r.Recording.Channels) != 1 || r.Recording.Channels[0].Name != "wz" || len(r.Map.Channels) != 1 {
					t.Errorf("channels = %+v, want wz alone", r.Recording.Channels)
				}
				return
			}
			for i, c := range r.Recording.Channels {
				bad := map[int]bool{}
				for _, j := range tc.nan[i] {
					bad[j] = true
				}
				for j, v := range c.Values {
					if math.IsNaN(v) != bad[j] {
						t.Errorf("channel %s sample %d = %v, want NaN: %t", c.Name, j, v, bad[j])
					}
				}
			}
		})
	}
}

func TestFooterOfTheMap(t *testing.T) {
	m := rigMap(func(m *chanmap.Map) { m.Complete = chanmap.Complete{Rule: "footer", Footer: "--- end 4 ---"} })
	r, err := read(t, plain+"--- end 4 ---\nand a remark, with a comma\n", m)
	wantPlain(t, r, err)
	if len(r.Unsure) != 0 {
		t.Errorf("unsure = %q, want nothing: the map names the footer", r.Unsure)
	}
	r, err = read(t, plain+"--- end 4 ---\nand a remark, with a comma\n", rigMap())
	wantPlain(t, r, err)
	if len(r.Unsure) != 2 || !strings.Contains(r.Unsure[0], "line 6") {
		t.Errorf("unsure = %q, want the two lines behind the data", r.Unsure)
	}
	r, err = read(t, plain+strings.Repeat("a, remark, with, many, commas\n", 100), rigMap())
	wantPlain(t, r, err)
	if n := len(r.Unsure); n != 21 || !strings.Contains(r.Unsure[20], "80 more") {
		t.Errorf("unsure = %d sentences, last %q; want 20 lines and how many more", n, r.Unsure[n-1])
	}
}

func TestTooMany(t *testing.T) {
	_, err := format.Read(t.Context(), strings.NewReader(plain), format.Options{Map: rigMap(), MaxSamples: 11})
	f, ok := fault.As(err)
	if !ok || f.Code != fault.TooLarge || f.Line != 5 || !strings.Contains(f.What, "11 values") || !strings.Contains(f.Fix, "limit") {
		t.Errorf("11 of 12 values: %v, want too_large at line 5", err)
	}
	r, err := format.Read(t.Context(), strings.NewReader(plain), format.Options{Map: rigMap(), MaxSamples: 12})
	wantPlain(t, r, err)
}

func TestReadErrors(t *testing.T) {
	stop := errors.New("share is gone")
	for _, src := range []io.Reader{
		iotest.ErrReader(stop),
		io.MultiReader(strings.NewReader(plain), iotest.ErrReader(stop)),
		io.MultiReader(strings.NewReader(plain), &rows{n: 50_000}, iotest.ErrReader(stop)),
	} {
		_, err := format.Read(t.Context(), src, format.Options{Map: rigMap()})
		if f, ok := fault.As(err); !ok || f.Code != fault.Unreadable || !errors.Is(err, stop) {
			t.Errorf("Read = %v, want unreadable with its cause", err)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := format.Read(ctx, strings.NewReader(plain), format.Options{Map: rigMap()}); !errors.Is(err, context.Canceled) {
		t.Errorf("Read with an ended context = %v", err)
	}
	ctx, cancel = context.WithCancel(t.Context())
	src := &rows{n: 1 << 40, at: func(i int) {
		if i == 100_000 {
			cancel()
		}
	}}
	if _, err := format.Read(ctx, io.MultiReader(strings.NewReader("t,ax,wz\n"), src), format.Options{Map: rigMap()}); !errors.Is(err, context.Canceled) {
		t.Errorf("Read of an endless file = %v, want the context's error", err)
	}
}

// rows makes n rows of a file without holding it.
type rows struct {
	n, i int
	at   func(int)
	rest []byte
	buf  [128]byte
}

func (r *rows) Read(p []byte) (int, error) {
	if len(r.rest) == 0 {
		if r.i == r.n {
			return 0, io.EOF
		}
		r.rest = fmt.Appendf(r.buf[:0], "%.5f,%.4f,%d\n", float64(r.i+4)*1e-4, float64(r.i%1000)/7, r.i%10)
		r.i++
		if r.at != nil {
			r.at(r.i)
		}
	}
	n := copy(p, r.rest)
	r.rest = r.rest[n:]
	return n, nil
}

func TestMessagesStayShort(t *testing.T) {
	long := strings.Repeat("x", 100_000)
	r, err := read(t, replace("300.125", long), rigMap())
	if err != nil || len(r.Faults) != 1 || len(r.Faults[0].Error()) > 400 {
		t.Errorf("a long cell: %v, fault of %d bytes", err, len(r.Faults[0].Error()))
	}
	_, err = read(t, strings.Replace(plain, "t,ax,wz", long+",b,c", 1), rigMap())
	if f, ok := fault.As(err); !ok || len(f.Error()) > 1000 {
		t.Errorf("a long header: %d bytes of message", len(err.Error()))
	}
	var b bytes.Buffer
	for i := range 5000 {
		fmt.Fprintf(&b, "%d,", i)
	}
	wide := b.String() + "1\n"
	if _, err = read(t, wide+wide, rigMap()); err == nil {
		t.Error("5001 columns were read")
	}
}

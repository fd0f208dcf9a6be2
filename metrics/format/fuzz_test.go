package format_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format"
)

// Whatever the bytes are, Read neither panics nor takes more values than bytes,
// its errors name a fix, and reading byte by byte gives the same.
func FuzzRead(f *testing.F) {
	for _, s := range []string{
		plain, "", "t,ax", "t;ax\n0,5;1\n", "\"t\",\"ax\"\n1,2\n", "# t ax\n0 1\n1 2\n", "t,ax,wz\n0,1\n", "\r\r\n\n,\n,,\n",
		utf16Text(plain, binary.LittleEndian, true), utf16Text(plain, binary.BigEndian, false), replace("\n", "\r"),
		"t,ax\n1e308,1\n-1e308,2\n", "t,ax\n-1e308,1\n1e308,2\n", "t,ax\n0,1\n5e-324,2\n1e-323,3\n", "1\n2\n3\n", "t,ax\n0,\"1\n1,2\"\n", "t\tax\n0\t\n1\t2\n",
		"t,ax,wz\n1e-320,1,2\n2e-320,1,2\n", "ax\n1\n", "t,ax\n0,1\n0,1\n1e-300,2\n", "t,ax,wz\n0,1,2\n1,2,3,\n2,3,4\nEND", "\xff\xfe", "\xfe\xff\x00", "time,a\ns,g\n",
	} {
		f.Add([]byte(s), false)
		f.Add([]byte(s), true)
	}
	f.Fuzz(func(t *testing.T, text []byte, guess bool) {
		o := format.Options{Name: "fuzz.csv"}
		if !guess {
			o.Map = rigMap()
		}
		r, err := format.Read(t.Context(), bytes.NewReader(text), o)
		again, errAgain := format.Read(t.Context(), iotest.HalfReader(bytes.NewReader(text)), o)
		if (err == nil) != (errAgain == nil) || err != nil && err.Error() != errAgain.Error() {
			t.Fatalf("in pieces: %v, at once: %v", errAgain, err)
		}
		if err != nil {
			e, ok := fault.As(err)
			if !ok || e.Code == "" || e.What == "" || e.Fix == "" || r != nil {
				t.Fatalf("error %#v", err)
			}
			switch e.Code {
			case fault.Empty, fault.Unreadable, fault.TimeColumn, fault.MissingColumn:
			default:
				if e.Line == 0 {
					t.Fatalf("no line in %v", e)
				}
			}
			return
		}
		rec := &r.Recording
		if len(rec.Channels) == 0 || r.Rows == 0 || rec.Len() != r.Rows || again.Rows != r.Rows {
			t.Fatalf("%d channels, %d rows, %d samples", len(rec.Channels), r.Rows, rec.Len())
		}
		if rows := bytes.Count(text, []byte("\n")) + bytes.Count(text, []byte("\r")) + 1; r.Rows > rows {
			t.Fatalf("%d rows of %d lines", r.Rows, rows)
		}
		if !(rec.RateHz > 0) || math.IsInf(rec.RateHz, 0) || math.IsNaN(rec.StartS) {
			t.Fatalf("rate %v, start %v", rec.RateHz, rec.StartS)
		}
		if rec.TimeS != nil && !rec.Uneven {
			t.Fatal("times of an even recording")
		}
		for i := 1; i < r.Rows; i++ {
			if rec.At(i) < rec.At(i-1) {
				t.Fatalf("time runs backwards at sample %d", i)
			}
		}
		nan := 0
		for _, c := range rec.Channels {
			if len(c.Values) != r.Rows {
				t.Fatalf("channel %s has %d values of %d", c.Name, len(c.Values), r.Rows)
			}
			for _, v := range c.Values {
				if math.IsNaN(v) {
					nan++
				}
			}
		}
		if nan > 0 && len(r.Faults) == 0 {
			t.Fatalf("%d values are NaN without a fault", nan)
		}
	})
}

func FuzzContent(f *testing.F) {
	f.Add([]byte(plain))
	f.Add([]byte(utf16Text(plain, binary.BigEndian, true)))
	f.Add([]byte("a\r\rb"))
	f.Fuzz(func(t *testing.T, text []byte) {
		last, err := format.LastLine(bytes.NewReader(text), int64(len(text)))
		if err != nil || strings.ContainsAny(last, "\r\n") {
			t.Fatalf("LastLine = %q, %v", last, err)
		}
		rows, _, err := format.CountRows(t.Context(), bytes.NewReader(text), nil)
		if rows > len(text) || rows < 0 {
			t.Fatalf("%d rows in %d bytes", rows, len(text))
		}
		if _, ok := fault.As(err); err != nil && !ok {
			t.Fatalf("error %v is no fault", err)
		}
		if _, _, err := format.Headers(t.Context(), bytes.NewReader(text)); err != nil {
			if _, ok := fault.As(err); !ok {
				t.Fatalf("error %v is no fault", err)
			}
		}
	})
}

// Whatever the bytes of any kind of file are, a reading is whole: channels of
// one length, times that do not run backwards, values that are missing named.
func FuzzKinds(f *testing.F) {
	for _, b := range [][]byte{folder(f), universal(f), waves([2]int16{1, 2}, [2]int16{3, 4}), []byte(plain)} {
		for kind := range 4 {
			f.Add(b, kind)
			f.Add(b[:len(b)*3/4], kind)
		}
	}
	const most = 2000
	f.Fuzz(func(t *testing.T, b []byte, kind int) {
		o := format.Options{MaxSamples: most}
		switch kind & 3 {
		case 1:
			o.Map = bindMap("iso13499", acc("1", "g"), rate("2", "deg/s"), chanmap.Channel{Column: "3", Measures: "pressure", Unit: "bar"})
		case 2:
			o.Map = bindMap("uff58", acc("1", "g"), acc("2", "m/s2"), rate("3", "deg/s"))
		case 3:
			o.Map = bindMap("", acc("1", "g"), rate("2", "deg/s"))
			o.Map.Time.RateHz = 20000
		}
		r, err := format.Read(t.Context(), bytes.NewReader(b), o)
		if err != nil {
			if e, ok := fault.As(err); !ok || e.Code == "" || e.What == "" || e.Fix == "" || r != nil {
				t.Fatalf("error %#v", err)
			}
			return
		}
		rec := &r.Recording
		if len(rec.Channels) == 0 || rec.Len() != r.Rows || !(rec.RateHz > 0) || math.IsInf(rec.RateHz, 0) || math.IsNaN(rec.StartS) || r.Rows*len(rec.Channels) > most {
			t.Fatalf("%d channels of %d rows, rate %v, start %v", len(rec.Channels), r.Rows, rec.RateHz, rec.StartS)
		}
		for i := 1; i < r.Rows; i++ {
			if rec.At(i) < rec.At(i-1) {
				t.Fatalf("time runs backwards at sample %d", i)
			}
		}
		for _, c := range rec.Channels {
			if len(c.Values) != r.Rows {
				t.Fatalf("channel %s has %d values of %d", c.Name, len(c.Values), r.Rows)
			}
			if slices.ContainsFunc(c.Values, math.IsNaN) && len(r.Faults) == 0 {
				t.Fatalf("channel %s has values that are NaN without a fault", c.Name)
			}
		}
	})
}

package format_test

import (
	"encoding/binary"
	"errors"
	"io"
	"strings"
	"testing"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format"
)

func TestLastLine(t *testing.T) {
	long := strings.Repeat("0.1,2.5,3\n", 20_000)
	for _, tc := range []struct{ text, want string }{
		{"", ""},
		{"\n\n \n", ""},
		{"one", "one"},
		{"one\ntwo\n", "two"},
		{"one\r\n two \r\n\r\n  \r\n", "two"},
		{"one\rtwo\r", "two"},
		{"\ufeffone", "one"},
		{long + "END", "END"},
		{long + "END\n\n", "END"},
		{utf16Text(long+"END µ\r\n", binary.LittleEndian, true), "END µ"},
		{utf16Text(long+"END\r\n", binary.BigEndian, false), "END"},
		{utf16Text("END", binary.BigEndian, true), "END"},
		{"Ende \xb5\n", "Ende µ"},
	} {
		got, err := format.LastLine(strings.NewReader(tc.text), int64(len(tc.text)))
		if err != nil || got != tc.want {
			t.Errorf("LastLine of %d bytes = %q, %v; want %q", len(tc.text), got, err, tc.want)
		}
	}
	_, err := format.LastLine(strings.NewReader("short"), 50)
	if f, ok := fault.As(err); !ok || f.Code != fault.Unreadable || !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("a file that has shrunk: %v", err)
	}
}

func TestComplete(t *testing.T) {
	rows := func(n int) *chanmap.Map {
		return rigMap(func(m *chanmap.Map) { m.Complete = chanmap.Complete{Rule: "rows", Rows: n} })
	}
	footer := rigMap(func(m *chanmap.Map) { m.Complete = chanmap.Complete{Rule: "footer", Footer: "END"} })
	for _, tc := range []struct {
		name, text string
		m          *chanmap.Map
		done       bool
		why        string
	}{
		{"all rows", plain, rows(4), true, ""},
		{"with comments, blank lines and junk", "Rate,10000\n" + replace("0.0002", "# pause\n\n0.0002"), rows(4), true, ""},
		{"one missing", plain, rows(5), false, "4 of 5 rows"},
		{"more than promised", plain, rows(3), true, ""},
		{"the last row without its end", strings.TrimSuffix(plain, "\n"), rows(4), false, "no line end"},
		{"empty", "", rows(4), false, "0 of 4"},
		{"header only", "t,ax,wz\n", rows(4), false, "0 of 4"},
		{"footer there", plain + "END\r\n", footer, true, ""},
		{"footer missing", plain, footer, false, `"END"`},
		{"half a footer", plain + "EN", footer, false, `"END"`},
		{"footer and quiet rule", plain, rigMap(), true, ""},
	} {
		done, why, err := format.Complete(t.Context(), strings.NewReader(tc.text), int64(len(tc.text)), tc.m)
		if err != nil || done != tc.done || !strings.Contains(why, tc.why) || done && why != "" {
			t.Errorf("%s: Complete = %t, %q, %v; want %t with %q", tc.name, done, why, err, tc.done, tc.why)
		}
	}
	text := plain + "END\nremark, with a comma\n"
	if n, ended, err := format.CountRows(t.Context(), strings.NewReader(text), footer); n != 4 || !ended || err != nil {
		t.Errorf("CountRows up to the footer = %d, %t, %v", n, ended, err)
	}
}

package textline_test

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/textline"
)

func TestNext(t *testing.T) {
	text := "\xef\xbb\xbfone\r\n\ntwo\nlast"
	r := textline.New(t.Context(), iotest.OneByteReader(strings.NewReader(text)), "a.txt")
	for i, want := range []string{"one", "", "two", "last"} {
		line, ok := r.Next()
		if !ok || string(line) != want || r.Line() != i+1 || r.Ended() != (want != "last") {
			t.Fatalf("line %d = %q, %t; want %q", r.Line(), line, ok, want)
		}
	}
	if line, ok := r.Next(); ok || r.Err() != nil {
		t.Fatalf("behind the end: %q, %v", line, r.Err())
	}
}

func TestNextFails(t *testing.T) {
	gone := errors.New("share is gone")
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	for name, tc := range map[string]struct {
		ctx  context.Context
		src  io.Reader
		code fault.Code
		is   error
	}{
		"long line": {t.Context(), strings.NewReader("a\n" + strings.Repeat("x", textline.MaxLine+1)), fault.TooLarge, nil},
		"broken":    {t.Context(), io.MultiReader(strings.NewReader("a\nb"), iotest.ErrReader(gone)), fault.Unreadable, gone},
		"cancelled": {ended, strings.NewReader("a\nb\n"), "", context.Canceled},
	} {
		r := textline.New(tc.ctx, tc.src, "a.txt")
		for {
			if _, ok := r.Next(); !ok {
				break
			}
		}
		f, isFault := fault.As(r.Err())
		if tc.is != nil && !errors.Is(r.Err(), tc.is) || isFault != (tc.code != "") {
			t.Errorf("%s: %v", name, r.Err())
			continue
		}
		if isFault && (f.Code != tc.code || f.Line != 2 || !strings.Contains(f.What, "a.txt") || f.Fix == "") {
			t.Errorf("%s: %v, want %s at line 2", name, f, tc.code)
		}
	}
}

// The exponents are those that Fortran's E and D edit descriptors print
// (ISO/IEC 1539-1, from memory, not confirmed against print).
func TestNumber(t *testing.T) {
	for text, want := range map[string]float64{
		"1.5": 1.5, " -2 ": -2, "+.5": 0.5, "3.": 3, "1.5E-03": 0.0015, "1.5D-03": 0.0015, "1.5d3": 1500,
		"0.123456789012-100": 0.123456789012e-100, "-1.5+101": -1.5e101, "1e-400": 0, "-0.0": 0,
	} {
		if v, ok := textline.Number([]byte(text)); !ok || v != want {
			t.Errorf("Number(%q) = %v, %t; want %v", text, v, ok, want)
		}
	}
	for _, text := range []string{"", " ", "x", "1,5", "NaN", "Inf", "0x1p4", "1_0", "1e999", "1-2", "1.5E-0E3", "1.5e", "--1", "e5", "NOVALUE", "1 2", strings.Repeat("1", 80)} {
		if v, ok := textline.Number([]byte(text)); ok {
			t.Errorf("Number(%q) = %v, want none", text, v)
		}
	}
}

func TestDigits(t *testing.T) {
	for text, want := range map[string]int{"5.00000E-05": 6, "0.0001": 1, "-3.3333E-05": 5, "0.00": 0, "20000": 5, "0.123456789012-100": 12} {
		if n := textline.Digits([]byte(text)); n != want {
			t.Errorf("Digits(%q) = %d, want %d", text, n, want)
		}
	}
}

func TestText(t *testing.T) {
	if s := textline.Text([]byte("Pr\xfcfstand")); s != "Prüfstand" {
		t.Errorf("Latin-1: %q", s)
	}
	if s := textline.Text([]byte("Prüfstand")); s != "Prüfstand" {
		t.Errorf("UTF-8: %q", s)
	}
	if s := textline.Clip("abcdef", 3); s != "abc…" {
		t.Errorf("Clip: %q", s)
	}
}

package delimited

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// parse is what the reader does with a cell: the fast path, else the slow one.
func parse(cell string) (float64, badKind) {
	// What stands behind the cell must not matter: a delimiter, then digits.
	line := append(append([]byte(nil), cell...), ",99999999999999999999"...)[:len(cell)]
	if d, next := scan(line, 0, '.'); next == len(cell) {
		if v, ok := d.value(); ok {
			return v, good
		}
	}
	return slow([]byte(cell), '.')
}

func same(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }

// strconv.ParseFloat of the standard library is the outside reference.
func agrees(t *testing.T, cell string) {
	t.Helper()
	want, err := strconv.ParseFloat(cell, 64)
	got, kind := parse(cell)
	if err != nil {
		if kind == good {
			t.Errorf("%q read as %g, strconv: %v", cell, got, err)
		}
		return
	}
	if kind != good || !same(got, want) {
		t.Errorf("%q = %v (%v), strconv gives %v", cell, got, kind, want)
	}
}

func TestNumbersAgainstStrconv(t *testing.T) {
	for cell := range strings.FieldsSeq(`0 -0 1 -1 +1 1. .5 -.5 0.1 0.3 1e5 1E-5 1.5e+03 00012.50
		9007199254740993 9007199254740992.5 9007199254740993e-3 18446744073709551615 18446744073709551616
		9999999999999999999 9999999999999999999e27 1e22 1e23 8.5e22 1e-22 1e-27 1e-28 123456789012345678e-27
		0.00004999999873689376 1.079752000000000045e+00 -8.297637000000000418e-01 2.2250738585072011e-308
		1.7976931348623157e308 4.9e-324 1e400 -1e400 0.5000000000000000166533453693773481063544750213623046875
		3.518437208883201171875e13 1e 1e+ e5 . - + 1.2.3 0x10 1e99999 0e99999 0.000000000000000000000000000001
		9223372036854775808 9007199254740991 9007199254740992 4503599627370496.5 4503599627370497.5 1448997445238699
		6929495644600919.5 8.41e21 1e27 1e28 7450580596923828125e-27 1e-10 0e-400`) {
		agrees(t, cell)
	}
}

func TestRandomNumbersAgainstStrconv(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	formats := []struct {
		verb byte
		prec int
	}{{'g', 7}, {'g', 6}, {'f', 5}, {'g', -1}, {'e', 18}, {'e', 6}, {'g', 16}, {'g', 17}, {'f', 12}, {'e', 25}}
	for range 200_000 {
		f := formats[rng.IntN(len(formats))]
		v := (rng.Float64() - 0.5) * math.Pow(10, float64(rng.IntN(60)-30))
		agrees(t, strconv.FormatFloat(v, f.verb, f.prec, 64))
	}
	// Halfway cases and their neighbours, where a second rounding would show.
	for range 100_000 {
		m := uint64(1)<<53 | rng.Uint64N(1<<53)
		half := m<<1 | 1
		s := strconv.FormatUint(half+rng.Uint64N(3)-1, 10)
		agrees(t, s)
		agrees(t, s+"e-"+strconv.Itoa(rng.IntN(30)))
		agrees(t, s+"e"+strconv.Itoa(rng.IntN(30)))
		cut := rng.IntN(len(s))
		agrees(t, s[:cut]+"."+s[cut:])
	}
}

func FuzzNumber(f *testing.F) {
	for _, s := range []string{"1.5", "-0.00004999999873689376", "1.079752000000000045e+00", "9007199254740993", "1e23", "1,5", "nan", "\"1\""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if s != strings.TrimSpace(s) || strings.ContainsAny(s, "xXpP_ \t\r\"dD\u2212") || notFinite(s) {
			return // strconv and acquisition programs differ on these by intent
		}
		agrees(t, s)
	})
}

func TestSlowCells(t *testing.T) {
	tests := []struct {
		cell  string
		point byte
		want  float64
		kind  badKind
	}{
		{` "1,5" `, ',', 1.5, good},
		{"1,5", ',', 1.5, good},
		{"1.5", ',', 0, badText},
		{"1,234.5", '.', 0, badText},
		{"1.5D+02", '.', 150, good},
		{"\u22122.5", '.', -2.5, good},
		{"", '.', 0, badBlank},
		{`""`, '.', 0, badBlank},
		{"NaN", '.', 0, badNotFinite},
		{"-Inf", '.', 0, badNotFinite},
		{"1.#QNAN", '.', 0, badNotFinite},
		{"1e999", '.', 0, badNotFinite},
		{"OVER", '.', 0, badText},
		{"0x1p-2", '.', 0, badText},
	}
	for _, tc := range tests {
		v, kind := slow([]byte(tc.cell), tc.point)
		if kind != tc.kind || kind == good && v != tc.want || kind != good && !math.IsNaN(v) {
			t.Errorf("slow(%q) = %g, %v; want %g, %v", tc.cell, v, kind, tc.want, tc.kind)
		}
	}
}

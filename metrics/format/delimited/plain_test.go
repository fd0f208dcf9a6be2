package delimited_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thudbook/metrics/format/delimited"
)

// written are decimals as programs print them, around the lengths at which the fast
// paths end: 7, 8, 15, 16 and 19 digits, with and without sign, point and exponent.
var written = rapid.Custom(func(t *rapid.T) string {
	digits := func(name string, most int) string {
		return rapid.StringMatching(`[0-9]{0,`+strconv.Itoa(most)+`}`).Draw(t, name)
	}
	whole, fraction := digits("whole", 10), digits("fraction", 18)
	if whole == "" && fraction == "" {
		whole = "0"
	}
	s := rapid.SampledFrom([]string{"", "", "-", "+"}).Draw(t, "sign") + whole
	if fraction != "" || rapid.Bool().Draw(t, "point") {
		s += "." + fraction
	}
	return s + rapid.SampledFrom([]string{"", "", "", "e-5", "E+3", "e0"}).Draw(t, "exponent")
})

// Whatever the length of its digits, a cell is the float64 that strconv makes of it,
// to the bit; also at the end of a line, and of the file.
func TestCellsAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		delimiter := rapid.SampledFrom([]string{",", ";", "\t", "|", " "}).Draw(t, "delimiter")
		const width = 4
		rows := rapid.SliceOfN(rapid.SliceOfN(written, width, width), 8, 30).Draw(t, "rows")
		end := rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "line end")
		text := strings.Join([]string{"a", "b", "c", "d"}, delimiter) + end
		for _, r := range rows {
			text += strings.Join(r, delimiter) + end
		}
		if rapid.Bool().Draw(t, "last line unended") {
			text = strings.TrimSuffix(text, end)
		}
		f, err := delimited.Open(t.Context(), strings.NewReader(text), delimited.Force{Delimiter: delimiter[0], Decimal: '.', HeaderRows: 1})
		if err != nil {
			t.Fatal(err)
		}
		table, err := f.Read(t.Context(), delimited.Selection{Time: -1, Columns: []int{0, 1, 2, 3}, Names: []string{"a", "b", "c", "d"}, MaxValues: 1 << 20})
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if table.Rows != len(rows) {
			t.Fatalf("%d rows, want %d", table.Rows, len(rows))
		}
		for i, r := range rows {
			for k, cell := range r {
				want, err := strconv.ParseFloat(cell, 64)
				if err != nil {
					t.Fatal(err)
				}
				if got := table.Columns[k][i]; math.Float64bits(got) != math.Float64bits(want) {
					t.Fatalf("%q is read as %v, strconv says %v", cell, got, want)
				}
			}
		}
	})
}

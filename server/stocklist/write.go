package stocklist

import (
	"encoding/csv"
	"io"
	"strings"
)

// Write writes a register as a table with commas, in UTF-8.
func Write(w io.Writer, all []Have) error {
	out := csv.NewWriter(w)
	if err := out.Write(Columns()); err != nil {
		return err
	}
	cols := columns()
	cells := make([]string, len(cols))
	for i := range all {
		for j, c := range cols {
			cells[j] = Guard(c.get(&all[i]))
		}
		if err := out.Write(cells); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// formula says that a spreadsheet would take a text for a formula and carry it
// out: it begins with one of these, after any number of guards.
func formula(s string) bool {
	s = strings.TrimLeft(s, "'")
	return s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0]))
}

// Guard puts an apostrophe before what a spreadsheet would take for a formula;
// Read takes it away again.
func Guard(s string) string {
	if formula(s) {
		return "'" + s
	}
	return s
}

func unguard(s string) string {
	if strings.HasPrefix(s, "'") && formula(s) {
		return s[1:]
	}
	return s
}

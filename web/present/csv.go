package present

import (
	"bytes"
	"encoding/csv"
	"iter"
	"strings"
)

// CSV writes rows under their head, with commas, in UTF-8; texts that a
// spreadsheet would take for formulas are guarded. The first error of the rows
// is given, and nothing else.
func CSV(head []string, rows iter.Seq2[[]string, error]) ([]byte, error) {
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	if err := out.Write(head); err != nil {
		return nil, err
	}
	cells := make([]string, len(head))
	for row, err := range rows {
		if err != nil {
			return nil, err
		}
		for i := range cells {
			cells[i] = Guard(row[i])
		}
		if err := out.Write(cells); err != nil {
			return nil, err
		}
	}
	out.Flush()
	return b.Bytes(), out.Error()
}

// formula says that a spreadsheet would take a text for a formula and carry it
// out: it begins with one of these, after any number of guards.
func formula(s string) bool {
	s = strings.TrimLeft(s, "'")
	return s != "" && strings.ContainsRune("=+-@\t\r\n", rune(s[0]))
}

// Guard puts an apostrophe before what a spreadsheet would take for a formula;
// Unguard takes it away again.
func Guard(s string) string {
	if formula(s) {
		return "'" + s
	}
	return s
}

// Unguard is the reverse of Guard.
func Unguard(s string) string {
	if strings.HasPrefix(s, "'") && formula(s) {
		return s[1:]
	}
	return s
}

package format

import (
	"context"
	"fmt"
	"io"
	"strings"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format/delimited"
)

// Complete says whether a file of so many bytes is finished by its content: by
// the map's rule "rows" (at least as many rows of numbers, the last with its
// line end) or "footer" (the last line holds the text). why says in words what
// is still missing. The other rules look at the clock or at another file: for
// them Complete gives true. A file that is empty or has no numbers yet is not
// complete, and no error.
func Complete(ctx context.Context, r io.ReaderAt, size int64, m *chanmap.Map) (done bool, why string, err error) {
	switch m.Complete.Rule {
	case "rows":
		rows, ended, err := CountRows(ctx, io.NewSectionReader(r, 0, size), m)
		switch {
		case err != nil:
			return false, "", err
		case rows < m.Complete.Rows:
			return false, fmt.Sprintf("%d of %d rows", rows, m.Complete.Rows), nil
		case !ended && rows == m.Complete.Rows:
			return false, "the last row has no line end yet", nil
		}
	case "footer":
		last, err := LastLine(r, size)
		if err != nil {
			return false, "", err
		}
		if last != strings.TrimSpace(m.Complete.Footer) {
			return false, fmt.Sprintf("the last line is not %q", m.Complete.Footer), nil
		}
	}
	return true, "", nil
}

// CountRows counts the rows of numbers of a file (lines that are neither blank
// nor comment, from the first row of numbers to the map's footer). ended is
// false when the last one lacks its line end. A file that is empty or has no
// numbers yet has 0 rows. m may be nil.
func CountRows(ctx context.Context, src io.Reader, m *chanmap.Map) (rows int, ended bool, err error) {
	var force delimited.Force
	footer := ""
	if m != nil {
		if k := m.Format.Kind; k != "" && k != delimitedKind {
			return 0, false, &fault.Error{Code: fault.BadMap, What: "rows cannot be counted in " + kindName(k), Fix: `write complete.rule = "quiet" or "marker" in the channel map`}
		}
		force = forced(m.Format)
		footer = m.Complete.Footer
	}
	f, err := delimited.Open(ctx, src, force)
	if problem, ok := fault.As(err); ok && (problem.Code == fault.Empty || problem.Code == fault.NoData) {
		return 0, false, nil
	}
	if err != nil {
		return 0, false, err
	}
	return f.CountRows(ctx, footer)
}

// LastLine gives the last line of a file that is not blank, without blanks
// round it, reading no more than its beginning and its last 64 KiB.
func LastLine(r io.ReaderAt, size int64) (string, error) { return delimited.LastLine(r, size) }

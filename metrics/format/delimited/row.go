package delimited

import (
	"bytes"
	"fmt"
	"math/bits"

	"thudbook/metrics/fault"
)

// row parses one line into p.cols and p.bad. It returns the number of cells
// and whether the last one is blank.
func (p *parser) row(line []byte) (cells int, lastBlank bool) {
	delim := p.delim
	spaces := delim == ' '
	i := 0
	if spaces {
		i = skipBlanks(line, 0)
	}
	for col := 0; col < len(p.slot); {
		slot := p.slot[col]
		if slot < 0 {
			j := cellEnd(line, i, delim)
			if j >= len(line) {
				return col + 1, blankCell(line[i:])
			}
			i = j
			col++
		} else if n, k := p.plain(line, i, p.slot[col:]); n > 0 {
			i = k
			col += n
		} else if k := p.number(line, i, slot); k >= 0 {
			i = k
			col++
		} else {
			j := cellEnd(line, i, delim)
			p.slowCell(line[i:j], slot, col)
			if j >= len(line) {
				return col + 1, blankCell(line[i:])
			}
			i = j
			col++
		}
		if i >= len(line) {
			return col, false
		}
		i++
		if spaces {
			if i = skipBlanks(line, i); i >= len(line) {
				return col, false
			}
		}
	}
	n, blank := countCells(line[i:], delim)
	return len(p.slot) + n, blank
}

// number is the fast path of one cell: it returns the index of the delimiter
// behind the number (or the line's length), or -1 to leave it to slowCell.
func (p *parser) number(line []byte, i, slot int) int {
	delim := p.delim
	for i < len(line) && line[i] == ' ' {
		i++
	}
	d, k := scan(line, i, p.fast)
	if k < 0 {
		return -1
	}
	if k < len(line) && line[k] != delim {
		if delim == ' ' && line[k] == '\t' {
			// a tab ends the cell as a blank does
		} else {
			for k < len(line) && line[k] == ' ' {
				k++
			}
			if k < len(line) && line[k] != delim {
				return -1
			}
		}
	}
	v, ok := d.value()
	if !ok {
		return -1
	}
	p.cols[slot][p.rows] = v
	if slot == p.timeAt {
		p.printed(d)
	}
	return k
}

// printed keeps how finely times are printed.
func (p *parser) printed(d decimal) {
	p.t.Decimals = max(p.t.Decimals, min(-d.exp10, 40))
	p.t.Digits = max(p.t.Digits, digits(d.mantissa))
}

// digits is the number of decimal digits of m.
func digits(m uint64) int {
	if m == 0 {
		return 0
	}
	n := (bits.Len64(m) * 1233) >> 12 // a little above log10(2)
	if n < len(exact10) && float64(m) >= exact10[n] {
		n++
	}
	return n
}

func (p *parser) slowCell(cell []byte, slot, col int) {
	v, kind := slow(cell, p.point)
	p.cols[slot][p.rows] = v
	if kind != good {
		p.bad = append(p.bad, cellFault{slot: slot, column: col, kind: kind, text: clip(string(trim(cell)), 30)})
		return
	}
	if slot == p.timeAt {
		p.t.Digits = 17 // more digits than the fast path takes
		p.t.Decimals = max(p.t.Decimals, 17)
	}
}

// checkTime looks at the time of the current row. odd is true when the row is
// set aside, since it may be part of a footer.
func (p *parser) checkTime(line []byte) (odd bool, err error) {
	for _, b := range p.bad {
		if b.slot != p.timeAt {
			continue
		}
		f := &fault.Error{Code: fault.TimeColumn, Line: p.f.r.line, Column: b.column + 1,
			What: fmt.Sprintf("the time %q is no number", b.text),
			Fix:  "correct the line; without times the other columns mean nothing"}
		if b.kind == badBlank {
			f.What = "the time is missing"
		}
		if len(p.bad) == len(p.cols) { // nothing in this row is a number
			p.note(line, p.f.Dialect.Width, true, f)
			return true, nil
		}
		return false, f
	}
	t := p.cols[p.timeAt][p.rows]
	if t < p.last {
		return false, &fault.Error{Code: fault.TimeBackwards, Line: p.f.r.line, Column: p.sel.Time + 1,
			What: fmt.Sprintf("time runs backwards: %g comes after %g", t, p.last),
			Fix:  "check that the file holds one recording, and that the time column is the right one"}
	}
	p.last = t
	return false, nil
}

// report counts a bad cell of a column and keeps the first.
func (p *parser) report(b cellFault) {
	bad := &p.badCols[b.slot]
	bad.Count++
	if bad.First != nil {
		return
	}
	f := &fault.Error{Code: fault.BadNumber, Line: p.f.r.line, Column: b.column + 1}
	if b.slot < len(p.sel.Names) {
		f.Channel = p.sel.Names[b.slot]
	}
	switch b.kind {
	case badBlank:
		f.What = "the value is missing"
		f.Fix = "check the channel's cable and the export; the other channels are used"
	case badNotFinite:
		f.Code = fault.NotFinite
		f.What = fmt.Sprintf("the value %q is not finite", b.text)
		f.Fix = "check the channel's cable, range and scaling; the other channels are used"
	default:
		f.What = fmt.Sprintf("%q is no number", b.text)
		f.Fix = "correct the value, or set format.decimal and format.delimiter in the channel map; the other channels are used"
	}
	bad.First = f
}

func skipBlanks(line []byte, i int) int {
	for i < len(line) && blank(line[i]) {
		i++
	}
	return i
}

func blankCell(b []byte) bool {
	b = trim(b)
	return len(b) == 0 || len(b) == 2 && b[0] == '"' && b[1] == '"'
}

// countCells counts the cells of the rest of a line behind the last kept column.
func countCells(rest []byte, delim byte) (n int, lastBlank bool) {
	if delim != ' ' && bytes.IndexByte(rest, '"') < 0 {
		k := bytes.LastIndexByte(rest, delim)
		return bytes.Count(rest, []byte{delim}) + 1, blankCell(rest[k+1:])
	}
	cells := split(nil, rest, delim)
	return len(cells), len(cells) > 0 && blankCell(cells[len(cells)-1])
}

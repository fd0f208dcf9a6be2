package delimited

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/scratch"
)

// Selection says which columns are kept.
type Selection struct {
	Time      int      // index of the time column, from 0; -1 for none
	Columns   []int    // indices of the other columns kept, from 0
	Names     []string // of Columns, for messages
	MaxValues int      // over all kept columns; more is the fault too_large
	Footer    string   // a line that holds just this text ends the data
	Size      int64    // size of the source in bytes if known, to reserve memory
}

// Table is what was read. All slices have Rows values.
type Table struct {
	Rows    int
	Time    []float64 // as printed, never decreasing; nil without a time column
	Columns [][]float64
	Bad     []Bad // one for each of Columns; Count 0 where all is well
	// Decimals is the largest number of digits behind the decimal sign in the
	// time column, Digits the largest number of significant digits: together they
	// say how finely times are printed.
	Decimals, Digits int
	TimeLine         int          // line of the first row
	Truncated        *fault.Error // the last row was cut short and dropped
	Footer           []string     // lines behind the data, taken for a footer
}

// Bad describes the cells of one column that are no numbers; those values are NaN.
type Bad struct {
	Count int
	First *fault.Error
}

// Read reads all rows and uses the file up. The columns are lent by package scratch:
// who knows that nobody uses them any more may give them back. It fails with a *fault.Error on a row of wrong width
// that is not the last one, a time that is no number or runs backwards, and
// more values than allowed.
func (f *File) Read(ctx context.Context, sel Selection) (*Table, error) {
	if sel.Time < 0 && len(sel.Columns) == 0 {
		return nil, &fault.Error{Code: fault.MissingColumn, What: "no column of the file is used", Fix: "bind a column in the channel map"}
	}
	defer f.r.release()
	p := newParser(f, sel)
	for {
		line, ended, ok := f.r.next(ctx)
		if !ok {
			break
		}
		stop, err := p.line(line, ended)
		if err != nil {
			return nil, err
		}
		if stop {
			break
		}
	}
	if err := f.r.fault(ctx); err != nil {
		return nil, err
	}
	if !p.stopped && f.r.tooLong() {
		return nil, &fault.Error{Code: fault.TooLarge, Line: f.r.line + 1, What: "the line is longer than 1 MiB", Fix: "export it as delimited text with one row a line"}
	}
	return p.finish()
}

// parser turns lines into rows.
type parser struct {
	f       *File
	sel     Selection
	point   byte
	fast    byte // point, or 0 where it is the delimiter too: then only quoted cells hold it
	delim   byte
	slot    []int       // column → index in cols, or -1; up to the last kept column
	cols    [][]float64 // the current row is at index rows
	timeAt  int         // index of the time in cols, or -1
	rows    int
	maxRows int
	bad     []cellFault // of the current row
	badCols []Bad
	last    float64
	t       Table
	odd     []oddRow // rows of wrong width since the last good one
	more    int      // lines of text beyond footerLines of them
	footer  []byte
	stopped bool // at the footer
}

// cellFault is one cell of the current row that is no number.
type cellFault struct {
	slot, column int
	kind         badKind
	text         string
}

func newParser(f *File, sel Selection) *parser {
	p := &parser{f: f, sel: sel, point: f.Dialect.Decimal, delim: f.Dialect.Delimiter, timeAt: -1, last: math.Inf(-1)}
	n := len(sel.Columns)
	highest := sel.Time
	for _, c := range sel.Columns {
		highest = max(highest, c)
	}
	p.slot = make([]int, highest+1)
	for i := range p.slot {
		p.slot[i] = -1
	}
	for i, c := range sel.Columns {
		p.slot[c] = i
	}
	p.badCols = make([]Bad, n)
	if sel.Time >= 0 {
		p.timeAt = n
		p.slot[sel.Time] = n
		n++
	}
	p.cols = make([][]float64, n)
	if p.point != p.delim {
		p.fast = p.point
	}
	if f := strings.TrimSpace(sel.Footer); f != "" {
		p.footer = []byte(f)
	}
	p.maxRows = sel.MaxValues / max(n, 1)
	p.reserve(p.guessRows())
	return p
}

// guessRows estimates the number of rows from the block that is read already.
func (p *parser) guessRows() int {
	r := p.f.r
	block := r.buf[r.pos:r.end]
	n := 1 + bytes.Count(block, []byte{r.term})
	if !r.eof {
		n *= 2
		if p.sel.Size > int64(len(block)) && len(block) > 0 {
			n = int(float64(n) / 2 * float64(p.sel.Size) / float64(len(block)) * 1.02)
		}
	}
	return n
}

// reserve makes room for n rows, at most one more than maxRows.
func (p *parser) reserve(n int) {
	n = min(n, p.maxRows+1)
	for i, c := range p.cols {
		if n > len(c) {
			grown := scratch.Floats(n)
			copy(grown, c[:p.rows])
			scratch.Free(c)
			p.cols[i] = grown
		}
	}
}

// line takes one line of the file. stop is true when the data ends here.
func (p *parser) line(line []byte, ended bool) (stop bool, err error) {
	if len(line) == 0 {
		return false, nil
	}
	if p.footer != nil && bytes.Equal(trim(line), p.footer) {
		p.stopped = true
		return true, nil
	}
	if c := line[0]; c-'0' > 9 && c != '-' && c != '.' && (len(trim(line)) == 0 || p.isComment(line)) {
		return false, nil
	}
	if p.rows >= len(p.cols[0]) {
		p.reserve(p.rows + p.rows/2 + 1024)
	}
	p.bad = p.bad[:0]
	cells, lastBlank := p.row(line)
	width := p.f.Dialect.Width
	fits := cells == width || cells == width+1 && lastBlank || cells == width-1 && p.f.trailing
	if fits && !ended && cells == width && p.cut(lastBlank) {
		p.note(line, cells, ended, nil)
		return false, nil
	}
	if !fits {
		p.note(line, cells, ended, nil)
		if text := p.oddText(); !text && (len(p.odd) > 1 || cells > width) {
			return false, p.judgeOdd(false)
		}
		return false, nil
	}
	for col := cells; col < len(p.slot); col++ { // a blank last column without its delimiter
		if slot := p.slot[col]; slot >= 0 {
			p.slowCell(nil, slot, col)
		}
	}
	return false, p.keep(line)
}

// isComment takes a line with a comment sign as comment unless it has the
// cells of a row: then the sign stands for a value that is missing.
func (p *parser) isComment(line []byte) bool {
	if _, is := comment(line); !is {
		return false
	}
	c := candidate{delimiter: p.delim, decimal: p.point}
	s := c.shape(line)
	return s.width != p.f.Dialect.Width || s.width == 1 || 2*s.numeric < s.filled()
}

// cut says whether a last line without line end stops inside its last cell.
func (p *parser) cut(lastBlank bool) bool {
	if lastBlank && !p.f.trailing {
		return true
	}
	if len(p.bad) == 0 {
		return false
	}
	b := p.bad[len(p.bad)-1]
	return b.column == p.f.Dialect.Width-1 && b.kind == badText && (b.slot == p.timeAt || p.badCols[b.slot].Count == 0)
}

// keep appends the current row.
func (p *parser) keep(line []byte) error {
	if len(p.odd) > 0 {
		return p.judgeOdd(false)
	}
	if p.rows >= p.maxRows {
		return &fault.Error{Code: fault.TooLarge, Line: p.f.r.line,
			What: fmt.Sprintf("the file holds more than %d values in the columns used", p.sel.MaxValues),
			Fix:  "cut the recording to the shot, bind fewer columns, or raise the limit"}
	}
	if p.timeAt >= 0 {
		if odd, err := p.checkTime(line); odd || err != nil {
			return err
		}
	}
	for _, b := range p.bad {
		p.report(b)
	}
	if p.rows == 0 {
		p.t.TimeLine = p.f.r.line
	}
	p.rows++
	return nil
}

// finish closes the table.
func (p *parser) finish() (*Table, error) {
	if len(p.odd) > 0 {
		if err := p.judgeOdd(true); err != nil {
			return nil, err
		}
	}
	if p.rows == 0 {
		return nil, &fault.Error{Code: fault.NoData, Line: p.f.r.line, What: "the file has no complete row of numbers", Fix: "check that the acquisition recorded, and export it again"}
	}
	p.t.Rows = p.rows
	for i := range p.cols {
		p.cols[i] = p.cols[i][:p.rows]
	}
	if p.timeAt >= 0 {
		p.t.Time = p.cols[p.timeAt]
	}
	p.t.Columns = p.cols[:len(p.sel.Columns)]
	p.t.Bad = p.badCols
	return &p.t, nil
}

// clip shortens a text for a message.
func clip(s string, n int) string {
	r := []rune(strings.ToValidUTF8(s, "\uFFFD"))
	if len(r) > n {
		return string(r[:n]) + "…"
	}
	return string(r)
}

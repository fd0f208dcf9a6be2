package delimited

import (
	"fmt"
	"strings"
	"unicode"

	"thudbook/metrics/fault"
)

// footerLines is how many lines behind the data are kept for the message.
const footerLines = 20

// oddRow is a line that is no row of numbers; what it means depends on what follows.
type oddRow struct {
	line, cells int
	numbers     bool // it begins with a number, or with what is left of one
	text        string
	err         *fault.Error
}

// note keeps a line that is no row until it is known what follows.
func (p *parser) note(line []byte, cells int, ended bool, err *fault.Error) {
	if len(p.odd) >= footerLines {
		p.more++ // only the first are shown, but none may hold numbers
		if first := p.odd[0]; first.numbers || (&candidate{delimiter: p.delim, decimal: p.point}).shape(line).first {
			p.odd = append(p.odd[:1], oddRow{line: p.f.r.line, cells: cells, numbers: true})
		}
		return
	}
	c := candidate{delimiter: p.delim, decimal: p.point}
	text := string(trim(line))
	numbers := c.shape(line).first || !ended && strings.IndexFunc(text, unicode.IsLetter) < 0
	p.odd = append(p.odd, oddRow{line: p.f.r.line, cells: cells, numbers: numbers, text: clip(text, 60), err: err})
}

// oddText says whether none of the rows set aside begins with a number.
func (p *parser) oddText() bool {
	for _, o := range p.odd {
		if o.numbers {
			return false
		}
	}
	return true
}

// judgeOdd decides what rows of wrong width are. In the middle they make the
// file unusable. At the end one row of numbers is a row cut short, and lines of
// text are a footer.
func (p *parser) judgeOdd(end bool) error {
	width := p.f.Dialect.Width
	first := p.odd[0]
	switch {
	case end && p.oddText():
		for _, o := range p.odd {
			p.t.Footer = append(p.t.Footer, fmt.Sprintf("line %d: %s", o.line, o.text))
		}
		if p.more > 0 {
			p.t.Footer = append(p.t.Footer, fmt.Sprintf("and %d more lines", p.more))
		}
		return nil
	case first.err != nil:
		return first.err
	case end && len(p.odd) == 1 && first.cells <= width:
		p.t.Truncated = &fault.Error{Code: fault.Truncated, Line: first.line, Column: first.cells,
			What: fmt.Sprintf("the last row is cut short in value %d of %d, and was dropped", first.cells, width),
			Fix:  "check that the recording had ended and the disk was not full when the file was written"}
		return nil
	}
	return &fault.Error{Code: fault.RowWidth, Line: first.line,
		What: fmt.Sprintf("the row has %s where %d are expected", values(first.cells), width),
		Fix:  "correct the line, or set format.delimiter and format.decimal in the channel map"}
}

func values(n int) string {
	if n == 1 {
		return "1 value"
	}
	return fmt.Sprintf("%d values", n)
}

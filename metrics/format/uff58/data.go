package uff58

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/textline"
)

// data reads record 12, the numbers, up to the closing -1.
func (r *reader) data(d *Dataset) error {
	p := &numbers{r: r, d: d, width: []int{13}}
	switch {
	case d.DataType == realDouble && d.Even:
		p.width = []int{20}
	case d.DataType == realDouble:
		p.width = []int{13, 20}
	}
	p.perLine = 6
	if d.DataType == realDouble {
		p.perLine = 4
	}
	p.need = d.Declared
	if !d.Even {
		p.need *= 2
	}
	for {
		line, ok := r.lines.Next()
		if !ok {
			break
		}
		if r.closes(line) && (r.exact || p.have >= p.need) {
			return p.finish(true)
		}
		if err := p.line(line); err != nil {
			return err
		}
	}
	if err := r.lines.Err(); err != nil {
		return err
	}
	return p.finish(false)
}

// numbers reads the lines of record 12.
type numbers struct {
	r        *reader
	d        *Dataset
	width    []int // of fields, in turn
	perLine  int   // fields of a full line
	need     int64 // numbers declared, abscissas included
	have     int64
	bad      int
	first    *fault.Error // of the bad ones
	extra    bool
	timeDown bool
	cells    [][]byte
}

func (p *numbers) line(line []byte) error {
	for _, cell := range p.split(line) {
		if p.have >= p.need {
			if !p.extra {
				p.extra = true
				p.d.fail(&fault.Error{Code: fault.RowWidth, Line: p.r.lines.Line(), What: fmt.Sprintf("the dataset goes on behind its %d values", p.d.Declared), Fix: "correct the number of values, or export the file again"})
			}
			return nil
		}
		if p.r.kept >= p.r.options.maxValues() {
			return &fault.Error{Code: fault.TooLarge, Line: p.r.lines.Line(), Channel: p.d.Label(),
				What: fmt.Sprintf("the datasets used hold more than %d numbers", p.r.options.maxValues()), Fix: "cut the recording to the shot, bind fewer channels, or raise the limit"}
		}
		p.r.kept++
		v, ok := textline.Number(cell)
		if !ok {
			v = math.NaN()
		}
		isTime := !p.d.Even && p.have%2 == 0
		p.have++
		if isTime {
			p.time(v, ok, cell)
			continue
		}
		if !ok {
			p.badValue(cell)
		}
		p.d.Values = append(p.d.Values, v)
	}
	return nil
}

// split takes a line apart at blanks, or by columns when numbers touch.
func (p *numbers) split(line []byte) [][]byte {
	p.cells = p.cells[:0]
	touching := false
	for rest := bytes.TrimSpace(line); len(rest) > 0; {
		end := bytes.IndexAny(rest, " \t")
		if end < 0 {
			end = len(rest)
		}
		if _, ok := textline.Number(rest[:end]); !ok {
			touching = true
		}
		p.cells = append(p.cells, rest[:end])
		rest = bytes.TrimLeft(rest[end:], " \t")
	}
	if !touching {
		return p.cells
	}
	var fixed [][]byte
	for at, rest := 0, line; len(bytes.TrimSpace(rest)) > 0 && at < p.perLine; at++ {
		w := min(p.width[at%len(p.width)], len(rest))
		fixed = append(fixed, bytes.TrimSpace(rest[:w]))
		rest = rest[w:]
	}
	if readable(fixed) > readable(p.cells) {
		return fixed
	}
	return p.cells // blanks part the line well; one of its cells is no number
}

// readable counts the cells that are numbers.
func readable(cells [][]byte) int {
	n := 0
	for _, c := range cells {
		if _, ok := textline.Number(c); ok {
			n++
		}
	}
	return n
}

func (p *numbers) badValue(cell []byte) {
	p.bad++
	if p.bad > 1 {
		return
	}
	text := textline.Clip(textline.Text(cell), 40)
	p.first = &fault.Error{Code: fault.BadNumber, Line: p.r.lines.Line(), What: fmt.Sprintf("%q is no number", text), Fix: "check the channel's cable and the export"}
	switch strings.ToLower(strings.Trim(text, "+-")) {
	case "nan", "inf", "infinity":
		p.first.Code, p.first.What = fault.NotFinite, fmt.Sprintf("the value %q is not finite", text)
	}
	p.d.fail(p.first)
}

func (p *numbers) time(v float64, ok bool, cell []byte) {
	d := p.d
	n := len(d.Times)
	switch {
	case !ok:
		d.fail(&fault.Error{Code: fault.TimeColumn, Line: p.r.lines.Line(), What: fmt.Sprintf("the abscissa %q is no number", textline.Clip(textline.Text(cell), 40)), Fix: "correct the line, or export the file again"})
		p.timeDown = true
	case n > 0 && v < d.Times[n-1] && !p.timeDown:
		d.fail(&fault.Error{Code: fault.TimeBackwards, Line: p.r.lines.Line(), What: fmt.Sprintf("the abscissa runs backwards, from %g to %g", d.Times[n-1], v), Fix: "export the file again; if two records were joined, split them"})
		p.timeDown = true
	}
	d.TimeDigits = max(d.TimeDigits, textline.Digits(cell))
	d.Times = append(d.Times, v)
}

// finish looks at the whole.
func (p *numbers) finish(closed bool) error {
	d := p.d
	if p.bad > 1 {
		p.first.What += fmt.Sprintf(" (the first of %d such values in this dataset)", p.bad)
	}
	if n := len(d.Values); !closed && p.have < p.need && n > 0 && !p.r.lines.Ended() {
		if d.Even || len(d.Times) == n { // the last number has no line end: it may be cut
			d.Values = d.Values[:n-1]
		}
	}
	if !d.Even {
		d.Times = d.Times[:len(d.Values)]
	}
	switch {
	case p.timeDown: // without times the values are worth nothing
		d.Kept, d.Times, d.Values = false, nil, nil
	case p.have < p.need:
		d.fail(&fault.Error{Code: fault.Truncated, Line: p.r.lines.Line(), What: fmt.Sprintf("the dataset ends after %d of %d values", len(d.Values), d.Declared), Fix: "export the file again; copy it when the acquisition program has finished writing"})
	case !closed:
		d.fail(&fault.Error{Code: fault.Truncated, Line: p.r.lines.Line(), What: "the last dataset is not closed by -1; its last value may be cut", Fix: "export the file again; copy it when the acquisition program has finished writing"})
	}
	return nil
}

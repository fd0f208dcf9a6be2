package delimited

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"thudbook/metrics/fault"
)

// File is a file whose dialect is known and whose numbers are still to be read.
type File struct {
	Dialect Dialect
	Headers []string // one for each cell of a row; nil when the file has none
	Units   []string // the row of units, as long as Headers, or nil
	// HeaderLine is the line of Headers. With Headers nil it is that of a line
	// above the numbers whose HeaderCells texts do not fit the rows' width.
	HeaderLine  int
	HeaderCells int

	r        *lineReader
	trailing bool // rows end with a delimiter
}

// Open reads the beginning of a file and finds out how it is written. A file
// without a row of numbers is a *fault.Error: empty_file, no_data, unreadable,
// too_large.
func Open(ctx context.Context, src io.Reader, force Force) (*File, error) {
	r := newLineReader(src)
	r.fill(ctx)
	if f := r.fault(ctx); f != nil {
		return nil, f
	}
	if r.end == 0 {
		return nil, &fault.Error{Code: fault.Empty, What: "the file is empty", Fix: "export it again from the acquisition program"}
	}
	encoding, bom := detectEncoding(r.buf[:r.end])
	if force.Encoding != "" && force.Encoding != encoding {
		encoding = force.Encoding
	}
	r.pos = bom
	if encoding == utf16LE || encoding == utf16BE {
		var order binary.ByteOrder = binary.LittleEndian
		if encoding == utf16BE {
			order = binary.BigEndian
		}
		rest := bytes.NewReader(bytes.Clone(r.buf[r.pos:r.end]))
		r = newLineReader(newUTF16Reader(io.MultiReader(rest, src), order))
		r.fill(ctx)
		if f := r.fault(ctx); f != nil {
			return nil, f
		}
	}
	if bytes.IndexByte(r.buf[r.pos:r.end], 0) >= 0 {
		return nil, &fault.Error{Code: fault.Unreadable, What: "the file is not text: it holds zero bytes", Fix: "export it as delimited text, or force format.encoding in the channel map"}
	}
	if len(bytes.TrimSpace(r.buf[r.pos:r.end])) == 0 && r.eof {
		return nil, &fault.Error{Code: fault.Empty, What: "the file holds only blank lines", Fix: "export it again from the acquisition program"}
	}
	r.setTerm()
	f := &File{r: r, Dialect: Dialect{Encoding: encoding}}
	if err := f.detect(force); err != nil {
		return nil, err
	}
	return f, nil
}

// fault turns a read error into one for people; nil when there is none. The
// end of a context stays what it is.
func (r *lineReader) fault(ctx context.Context) error {
	switch {
	case r.err == nil:
		return nil
	case ctx.Err() != nil:
		return ctx.Err()
	}
	if f, ok := errors.AsType[*fault.Error](r.err); ok {
		return f
	}
	return &fault.Error{Code: fault.Unreadable, What: "the file cannot be read on: " + r.err.Error(), Line: r.line + 1, Fix: "check that the file may be read and its disk or share is there", Err: r.err}
}

// window collects the first lines without handing them out.
func (f *File) window() (lines [][]byte, offsets []int) {
	r := f.r
	pos := r.pos
	n := min(windowLines, 1+bytes.Count(r.buf[pos:r.end], []byte{r.term}))
	lines, offsets = make([][]byte, 0, n), make([]int, 0, n)
	for len(lines) < windowLines && pos < r.end {
		n := bytes.IndexByte(r.buf[pos:r.end], r.term)
		if n < 0 {
			if !r.eof {
				break
			}
			n = r.end - pos
		}
		lines = append(lines, chop(r.buf[pos:pos+n]))
		offsets = append(offsets, pos)
		pos += n + 1
	}
	return lines, offsets
}

// detect settles the dialect and puts the reader at the first row of numbers.
func (f *File) detect(force Force) error {
	lines, offsets := f.window()
	from := min(force.HeaderRows, len(lines))
	sample := sampleOf(lines[from:])
	var best *candidate
	var bestHead header
	start, score := -1, -1.0
	all := candidates(force, sample)
	top := 0.0
	for _, c := range all {
		top = max(top, c.quality)
	}
	for _, c := range all {
		if c.quality < top-0.25 {
			continue
		}
		at := from
		if force.HeaderRows == 0 {
			at = c.start(lines)
		} else {
			for at < len(lines) && len(trim(lines[at])) == 0 {
				at++
			}
		}
		if at < 0 || at >= len(lines) {
			continue
		}
		h, exact := c.head(lines, at, f.Dialect.Encoding)
		s := 10*c.quality + float64(min(c.numeric, 64))/64
		if exact {
			s += 3
		}
		if s > score {
			best, bestHead, start, score = c, h, at, s
		}
	}
	if best == nil {
		return f.noData(lines)
	}
	f.Dialect.Delimiter, f.Dialect.Decimal = best.delimiter, best.decimal
	f.Dialect.Width, f.Dialect.HeaderRows = best.width, start
	f.trailing = best.trailing
	f.Headers, f.Units = bestHead.names, bestHead.units
	f.HeaderLine, f.HeaderCells = bestHead.line, bestHead.other
	f.r.pos, f.r.line = offsets[start], start
	return nil
}

// sampleOf picks the last lines of the window that are neither blank nor
// comment: data rather than what stands before it. Lines with digits go before
// lines of text, which may be a footer.
func sampleOf(lines [][]byte) [][]byte {
	var sample, text [][]byte
	for i := len(lines) - 1; i >= 0 && len(sample) < sampleLines; i-- {
		if _, is := comment(lines[i]); is || len(trim(lines[i])) == 0 {
			continue
		}
		if digitsIn(lines[i])*4 >= len(lines[i]) {
			sample = append(sample, lines[i])
		} else if len(text) < sampleLines {
			text = append(text, lines[i])
		}
	}
	return append(sample, text[:min(len(text), sampleLines-len(sample))]...)
}

func digitsIn(line []byte) int {
	n := 0
	for _, c := range line {
		if c-'0' <= 9 {
			n++
		}
	}
	return n
}

func (f *File) noData(lines [][]byte) error {
	switch {
	case len(lines) == 0 && !f.r.eof:
		return &fault.Error{Code: fault.TooLarge, Line: 1, What: fmt.Sprintf("no line end was found in the first %d KiB", f.r.end>>10), Fix: "export it as delimited text with one row a line"}
	case len(lines) >= windowLines || !f.r.eof:
		return &fault.Error{Code: fault.NoData, Line: len(lines), What: fmt.Sprintf("no row of numbers was found in the first %d lines", len(lines)), Fix: "set format.header_rows, format.delimiter and format.decimal in the channel map, or export it again as delimited text"}
	}
	return &fault.Error{Code: fault.NoData, Line: len(lines), What: "the file has no row of numbers", Fix: "check that the acquisition recorded, and export it again"}
}

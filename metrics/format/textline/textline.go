// Package textline reads the lines and numbers of text files with a fixed
// layout. Memory is one line.
package textline

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"unicode/utf8"

	"thudbook/metrics/fault"
)

// MaxLine is the longest line that is read, in bytes.
const MaxLine = 64 << 10

// Reader hands out the lines of a stream and counts them.
type Reader struct {
	ctx  context.Context
	src  *bufio.Reader
	what string // the file, as messages name it
	line int
	open bool // the last line had no end
	err  error
}

// New reads lines from src; what names the file in messages.
func New(ctx context.Context, src io.Reader, what string) *Reader {
	return &Reader{ctx: ctx, src: bufio.NewReaderSize(src, MaxLine), what: what}
}

// Next gives the next line without its end. It is valid until the next call.
// ok is false at the end of the stream and on an error, which Err then gives.
func (r *Reader) Next() (line []byte, ok bool) {
	if r.err != nil {
		return nil, false
	}
	if r.line%1024 == 0 {
		if r.err = r.ctx.Err(); r.err != nil {
			return nil, false
		}
	}
	line, err := r.src.ReadSlice('\n')
	switch {
	case errors.Is(err, bufio.ErrBufferFull):
		r.err = &fault.Error{Code: fault.TooLarge, Line: r.line + 1, What: fmt.Sprintf("%s: the line is longer than %d KiB", r.what, MaxLine>>10),
			Fix: "check that this is the text file it is taken for, and export it again"}
		return nil, false
	case err == io.EOF && len(line) == 0:
		return nil, false
	case err != nil && err != io.EOF:
		r.err = Broken(r.ctx, r.what, r.line+1, err)
		return nil, false
	}
	if r.line == 0 {
		line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
	}
	r.line++
	r.open = err == io.EOF
	line = bytes.TrimSuffix(line, []byte("\n"))
	return bytes.TrimSuffix(line, []byte("\r")), true
}

// Line is the number of the line that Next gave last, from 1.
func (r *Reader) Line() int { return r.line }

// Ended is false when the line that Next gave last is the last of the stream and
// lacks its line end: it may be cut short.
func (r *Reader) Ended() bool { return !r.open }

// Err is what stopped Next before the end of the stream: a *fault.Error, or the
// context's own error.
func (r *Reader) Err() error { return r.err }

// Broken describes a source that cannot be read on. A fault and the end of the
// context stay what they are.
func Broken(ctx context.Context, what string, line int, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if f, ok := fault.As(err); ok {
		return f
	}
	return &fault.Error{Code: fault.Unreadable, Line: line, What: what + " cannot be read on: " + err.Error(),
		Fix: "check that the file may be read and its disk or share is there", Err: err}
}

// Text decodes a text: UTF-8 where it is valid, else Latin-1.
func Text(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	runes := make([]rune, len(b))
	for i, c := range b {
		runes[i] = rune(c)
	}
	return string(runes)
}

// Number reads a decimal number with a point, blanks round it allowed. It takes
// Fortran's exponents too: "1.5D-03", and "1.5-103" without its letter. ok is
// false for anything else, also for what is not finite.
func Number(b []byte) (v float64, ok bool) {
	b = bytes.TrimSpace(b)
	var text [72]byte
	if len(b) == 0 || len(b) > len(text)-2 {
		return 0, false
	}
	n := 0
	point, digit, exponent := false, false, false
	for _, c := range b {
		switch {
		case c-'0' <= 9:
			digit = true
		case c == '.':
			point = true
		case c == '+' || c == '-':
			if point && digit && !exponent {
				exponent = true
				text[n] = 'e'
				n++
			}
		case (c|0x20 == 'e' || c|0x20 == 'd') && digit && !exponent:
			exponent = true
			c = 'e'
		default:
			return 0, false
		}
		text[n] = c
		n++
	}
	v, err := strconv.ParseFloat(string(text[:n]), 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// Digits is the number of significant digits that a number is printed with, at
// most 17: 6 of "5.00000E-05", 1 of "0.0001".
func Digits(b []byte) int {
	n := 0
	for _, c := range bytes.TrimSpace(b) {
		if c|0x20 == 'e' || c|0x20 == 'd' || n > 0 && (c == '+' || c == '-') {
			break
		}
		if c-'0' <= 9 && (n > 0 || c != '0') {
			n++
		}
	}
	return min(n, 17)
}

// Clip shortens a text for a message.
func Clip(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

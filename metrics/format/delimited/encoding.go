package delimited

import (
	"bytes"
	"encoding/binary"
	"io"
	"unicode/utf16"
	"unicode/utf8"
)

// The encodings by the names of the channel map. Latin1 and UTF-8 differ only
// in header texts: numbers are ASCII in both.
const (
	utf8Name   = "utf-8"
	latin1Name = "latin1"
	utf16LE    = "utf-16le"
	utf16BE    = "utf-16be"
)

// detectEncoding looks at the first bytes of a file. It gives the encoding and
// the length of the byte order mark.
func detectEncoding(head []byte) (name string, bom int) {
	switch {
	case bytes.HasPrefix(head, []byte("\xef\xbb\xbf")):
		return utf8Name, 3
	case bytes.HasPrefix(head, []byte("\xff\xfe")):
		return utf16LE, 2
	case bytes.HasPrefix(head, []byte("\xfe\xff")):
		return utf16BE, 2
	}
	// Without a mark: ASCII text in UTF-16 has a zero in every second byte.
	var zero [2]int
	n := min(len(head), 1024) &^ 1
	for i := range n {
		if head[i] == 0 {
			zero[i&1]++
		}
	}
	switch {
	case n >= 4 && zero[1] > n/3 && zero[0] < n/16+1:
		return utf16LE, 0
	case n >= 4 && zero[0] > n/3 && zero[1] < n/16+1:
		return utf16BE, 0
	}
	return utf8Name, 0
}

// utf16Reader turns UTF-16 into UTF-8 as it is read.
type utf16Reader struct {
	src   io.Reader
	order binary.ByteOrder
	in    []byte // bytes not yet decoded
	out   []byte // bytes not yet handed on
	buf   []byte
	err   error
}

func newUTF16Reader(src io.Reader, order binary.ByteOrder) *utf16Reader {
	return &utf16Reader{src: src, order: order, buf: make([]byte, 0, 16<<10)}
}

func (r *utf16Reader) Read(p []byte) (int, error) {
	for len(r.out) == 0 {
		if r.err != nil {
			return 0, r.err
		}
		r.fill()
	}
	n := copy(p, r.out)
	r.out = r.out[n:]
	return n, nil
}

func (r *utf16Reader) fill() {
	block := r.buf[:cap(r.buf)]
	n := copy(block, r.in)
	got, err := r.src.Read(block[n:])
	r.err = err
	in := block[:n+got]
	out := make([]byte, 0, len(in)*3/2+utf8.UTFMax)
	for len(in) >= 2 {
		u := rune(r.order.Uint16(in))
		if utf16.IsSurrogate(u) {
			if len(in) < 4 && r.err == nil {
				break // its second half comes with the next block
			}
			if len(in) >= 4 {
				if pair := utf16.DecodeRune(u, rune(r.order.Uint16(in[2:]))); pair != utf8.RuneError {
					out = utf8.AppendRune(out, pair)
					in = in[4:]
					continue
				}
			}
			u = utf8.RuneError
		}
		out = utf8.AppendRune(out, u)
		in = in[2:]
	}
	if len(in) == 1 && r.err == io.EOF {
		out = utf8.AppendRune(out, utf8.RuneError) // half a character at the end
		in = nil
	}
	r.in = append([]byte(nil), in...)
	r.out = out
}

// headerText decodes a header cell: UTF-8 where it is valid, else Latin-1.
func headerText(cell []byte, encoding string) string {
	if encoding != latin1Name && utf8.Valid(cell) {
		return string(cell)
	}
	runes := make([]rune, len(cell))
	for i, b := range cell {
		runes[i] = rune(b)
	}
	return string(runes)
}

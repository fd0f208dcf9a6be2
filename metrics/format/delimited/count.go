package delimited

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"strings"

	"thudbook/metrics/fault"
)

// CountRows counts the lines from the first row of numbers on that are neither
// blank nor comment, up to the footer if one is given. ended is false when the
// last one lacks its line end, as in a file that is still being written. It
// uses the file up, as Read does.
func (f *File) CountRows(ctx context.Context, footer string) (rows int, ended bool, err error) {
	stop := []byte(strings.TrimSpace(footer))
	ended = true
	for {
		line, end, ok := f.r.next(ctx)
		if !ok {
			break
		}
		line = trim(line)
		if len(stop) > 0 && bytes.Equal(line, stop) {
			return rows, true, nil
		}
		if _, is := comment(line); is || len(line) == 0 {
			continue
		}
		rows++
		ended = end
	}
	if err := f.r.fault(ctx); err != nil {
		return rows, false, err
	}
	return rows, ended, nil
}

// tailSize is how much of the end of a file LastLine looks at.
const tailSize = 64 << 10

// LastLine gives the last line of a file of so many bytes that is not blank,
// without blanks round it. It reads the beginning for the encoding and at most
// 64 KiB of the end. A file without such a line gives "".
func LastLine(r io.ReaderAt, size int64) (string, error) {
	head := make([]byte, min(size, 1024))
	if err := readAt(r, head, 0); err != nil {
		return "", err
	}
	encoding, bom := detectEncoding(head)
	from := max(int64(bom), size-tailSize)
	if wide := encoding == utf16LE || encoding == utf16BE; wide {
		from += (from - int64(bom)) & 1 // never half a character
	}
	tail := make([]byte, max(size-from, 0))
	if err := readAt(r, tail, from); err != nil {
		return "", err
	}
	var order binary.ByteOrder
	switch encoding {
	case utf16LE:
		order = binary.LittleEndian
	case utf16BE:
		order = binary.BigEndian
	}
	if order != nil {
		decoded, err := io.ReadAll(newUTF16Reader(bytes.NewReader(tail), order))
		if err != nil {
			return "", err
		}
		tail = decoded
	}
	tail = bytes.TrimSpace(tail)
	return headerText(bytes.TrimSpace(tail[bytes.LastIndexAny(tail, "\r\n")+1:]), encoding), nil
}

// readAt fills b; a file that has shrunk is a fault.
func readAt(r io.ReaderAt, b []byte, from int64) error {
	n, err := r.ReadAt(b, from)
	if n == len(b) {
		return nil
	}
	if errors.Is(err, io.EOF) {
		err = io.ErrUnexpectedEOF
	}
	return &fault.Error{Code: fault.Unreadable, What: "the end of the file cannot be read: " + err.Error(), Fix: "check that the file may be read and its disk or share is there", Err: err}
}

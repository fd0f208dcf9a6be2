package iso13499

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/textline"
)

// Field is one line of a header.
type Field struct {
	Key   string // "" for a line without a colon
	Value string // as it stands, without blanks round it
	Line  int    // from 1
}

// Header is the fields of a file in their order, unknown keys included.
type Header []Field

// find gives the first field of a key, letters large or small, blanks single or
// not.
func (h Header) find(key string) (Field, bool) {
	for _, f := range h {
		if sameKey(f.Key, key) {
			return f, true
		}
	}
	return Field{}, false
}

func sameKey(a, b string) bool {
	return strings.EqualFold(a, b) || strings.EqualFold(strings.Join(strings.Fields(a), " "), b)
}

// Value gives the value of a key; "" where it is missing or NOVALUE.
func (h Header) Value(key string) string {
	f, ok := h.find(key)
	if !ok || strings.EqualFold(f.Value, NoValue) {
		return ""
	}
	return f.Value
}

// line gives the line of a key, or 0.
func (h Header) line(key string) int {
	f, _ := h.find(key)
	return f.Line
}

// field takes a header line apart at its first colon.
func field(line []byte, n int) (Field, bool) {
	key, value, ok := bytes.Cut(line, []byte(":"))
	if !ok {
		return Field{}, false
	}
	return Field{Key: strings.TrimSpace(textline.Text(key)), Value: strings.TrimSpace(textline.Text(value)), Line: n}, true
}

// readHeader reads a file that is all header, .mme or .chn.
func readHeader(ctx context.Context, name string, src io.Reader) (Header, error) {
	lines := textline.New(ctx, io.LimitReader(src, maxListBytes+1), name)
	var h Header
	size := 0
	for {
		line, ok := lines.Next()
		if !ok {
			break
		}
		size += len(line) + 1
		if size > maxListBytes || len(h) >= maxHeaderLines+maxChannels {
			return nil, &fault.Error{Code: fault.TooLarge, Line: lines.Line(), What: fmt.Sprintf("%s is larger than a header can be", name),
				Fix: "check that it is the header of an ISO/TS 13499 folder"}
		}
		if bytes.IndexByte(line, 0) >= 0 {
			return nil, notText(name, lines.Line())
		}
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		f, ok := field(line, lines.Line())
		if !ok {
			f = Field{Value: strings.TrimSpace(textline.Text(line)), Line: lines.Line()}
		}
		h = append(h, f)
	}
	return h, lines.Err()
}

func notText(name string, line int) *fault.Error {
	return &fault.Error{Code: fault.Unreadable, Line: line, What: name + " is not plain text: it holds zero bytes", Fix: "export the folder again as ASCII text"}
}

// listed is one channel of the channel list.
type listed struct {
	number int
	code   Code
	text   string
	line   int
}

// listed takes the lines "Name of channel 001 : CODE / text" of a .chn.
func (h Header) listed() []listed {
	var out []listed
	for _, f := range h {
		words := strings.Fields(strings.ToLower(f.Key))
		if len(words) != 4 || words[0] != "name" || words[1] != "of" || words[2] != "channel" {
			continue
		}
		n, err := strconv.Atoi(words[3])
		if err != nil || n < 0 || len(out) >= maxChannels {
			continue
		}
		code, text, _ := strings.Cut(f.Value, "/")
		out = append(out, listed{n, Code(strings.ToUpper(strings.TrimSpace(code))), strings.TrimSpace(text), f.Line})
	}
	return out
}

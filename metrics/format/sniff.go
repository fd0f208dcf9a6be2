package format

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/format/iso13499"
	"thudbook/metrics/format/textline"
	"thudbook/metrics/format/uff58"
	"thudbook/metrics/format/wav"
)

// The kinds of file by the words of a channel map.
const (
	delimitedKind = "delimited"
	isoKind       = "iso13499"
	uffKind       = "uff58"
	wavKind       = "wav"
)

func kindName(kind string) string {
	switch kind {
	case isoKind:
		return "a test folder after ISO/TS 13499"
	case uffKind:
		return "a Universal File (dataset 58)"
	case wavKind:
		return "a WAV file"
	}
	return "delimited text"
}

// sniffed is how many bytes tell the kinds apart.
const sniffed = 512

// sniff says of which kind a file is, and gives a reader that starts at its
// first byte. A map's kind holds, unless the first bytes cannot be of it.
func sniff(ctx context.Context, src io.Reader, m *chanmap.Map) (string, io.Reader, error) {
	b := bufio.NewReaderSize(src, 4096)
	head, err := b.Peek(sniffed)
	if err != nil && !errors.Is(err, io.EOF) {
		return "", nil, textline.Broken(ctx, "the file", 1, err)
	}
	kind := look(head)
	if kind == "" {
		return "", nil, &fault.Error{Code: fault.NoData, Line: 1, What: "the file is one part (header, channel list or channel) of a test after ISO/TS 13499",
			Fix: "hand over the whole folder with its .mme, or a plain tar or zip of it"}
	}
	if m == nil || m.Format.Kind == "" || len(head) == 0 {
		return kind, b, nil
	}
	said := m.Format.Kind
	fits := said == kind
	switch said {
	case delimitedKind: // it says itself what it cannot read
		fits = true
	case uffKind: // some programs do not keep the columns of the -1
		first, _, _ := bytes.Cut(bytes.TrimLeft(head, " \r\n"), []byte("\n"))
		fits = fits || string(bytes.TrimSpace(first)) == "-1"
	case isoKind: // a compressed tar has a message of its own
		fits = fits || bytes.HasPrefix(head, []byte("\x1f\x8b"))
	}
	if !fits {
		return "", nil, &fault.Error{Code: fault.BadMap, Line: 1, What: fmt.Sprintf("the channel map says format.kind = %q, but the file looks like %s", said, kindName(kind)),
			Fix: fmt.Sprintf("correct the channel map (format.kind = %q), or hand over %s", kind, kindName(said))}
	}
	return said, b, nil
}

// look tells the kinds apart by the first bytes; "" is one file of a folder of
// ISO/TS 13499 on its own, by the key that usually comes first.
func look(head []byte) string {
	firstKey, _, keyed := bytes.Cut(head, []byte(":"))
	part := slices.Contains([]string{"data format edition number", "instrumentation standard", "test object number"}, strings.ToLower(string(bytes.TrimSpace(firstKey))))
	switch {
	case wav.IsFile(head):
		return wavKind
	case iso13499.IsArchive(head):
		return isoKind
	case uff58.IsFile(head):
		return uffKind
	case keyed && part:
		return ""
	}
	return delimitedKind
}

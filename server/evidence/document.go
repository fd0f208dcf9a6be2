package evidence

import (
	"errors"
	"io"
	"net/http"
	"path"
	"strings"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
)

// MaxDocument bounds one file about an item, in bytes.
const MaxDocument = 20 << 20

// Document is a file about an item as it was sent: a PDF or a picture.
type Document struct {
	Bytes []byte
	Name  string // of the file, without folders
	Media string // by its bytes, whatever the sender called it
}

// ReadDocument reads a file about an item whole. What is no such file is a
// problem at the field "file".
func ReadDocument(r io.Reader, name string) (*Document, error) {
	b, err := io.ReadAll(io.LimitReader(r, MaxDocument+1))
	if _, large := errors.AsType[*http.MaxBytesError](err); large || len(b) > MaxDocument {
		return nil, TooLargeDocument()
	}
	if err != nil {
		return nil, err
	}
	if len(b) == 0 {
		return nil, badDocument("The file is empty.", "Choose another one.")
	}
	media, _, _ := strings.Cut(http.DetectContentType(b), ";")
	switch media {
	case "application/pdf", "image/png", "image/jpeg", "image/webp":
	default:
		return nil, badDocument("The file is no PDF and no picture (it looks like "+media+").", "Save it as PDF.")
	}
	name = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return '_'
		}
		return r
	}, path.Base(strings.ReplaceAll(name, "\\", "/")))
	return &Document{Bytes: b, Name: strings.ToValidUTF8(name[:min(len(name), lab.MaxText)], ""), Media: media}, nil
}

// TooLargeDocument is the problem of a file above MaxDocument.
func TooLargeDocument() error {
	return badDocument("The file is larger than 20 MB.", "Make it smaller, as by scanning in grey.")
}

func badDocument(what, fix string) error {
	return &problem.Error{Code: problem.Invalid, Where: "file", What: what, Fix: fix}
}

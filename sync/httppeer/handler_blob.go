package httppeer

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

type haveRequest struct {
	Hashes []record.Hash `json:"hashes"`
	Sizes  []int64       `json:"sizes,omitempty"` // since version 2, one for each hash
}

type haveAnswer struct {
	Missing []record.Hash `json:"missing"`
	Offsets []int64       `json:"offsets,omitempty"` // one for each that is missing, where sizes were told
}

func labOf(r *http.Request) (record.LabID, error) {
	lab, err := uuid.Parse(r.PathValue("lab"))
	if err != nil {
		return lab, &problem.Error{Code: problem.Invalid, What: "The lab's id cannot be read.", Where: r.URL.Path, Fix: "Update the agent.", Err: err}
	}
	return lab, nil
}

func blobOf(r *http.Request) (record.LabID, record.Hash, error) {
	lab, err := labOf(r)
	if err != nil {
		return lab, record.Hash{}, err
	}
	h, err := record.ParseHash(r.PathValue("sha256"))
	if err != nil {
		return lab, h, &problem.Error{Code: problem.Invalid, What: "The sum of the bytes cannot be read.", Where: r.URL.Path, Fix: "It is a SHA-256 in 64 hexadecimal digits.", Err: err}
	}
	return lab, h, nil
}

func (h *Handler) haveBlobs(w http.ResponseWriter, r *http.Request, p caller) error {
	lab, err := labOf(r)
	if err != nil {
		return err
	}
	var q haveRequest
	if err := readCBOR(r, 64<<10, &q); err != nil {
		return err
	}
	if len(q.Sizes) != 0 && len(q.Sizes) != len(q.Hashes) {
		return problem.New(problem.Invalid, fmt.Sprintf("%d sizes for %d attachments.", len(q.Sizes), len(q.Hashes)), "Update the agent.")
	}
	refs := make([]exchange.BlobRef, len(q.Hashes))
	for i := range refs {
		refs[i].SHA256 = q.Hashes[i]
		if len(q.Sizes) > 0 {
			refs[i].Size = q.Sizes[i]
		}
	}
	missing, err := p.HaveBlobs(r.Context(), lab, refs)
	if err != nil {
		return err
	}
	var a haveAnswer
	for _, m := range missing {
		a.Missing = append(a.Missing, m.SHA256)
		if len(q.Sizes) > 0 {
			a.Offsets = append(a.Offsets, m.Offset)
		}
	}
	return writeCBOR(w, a)
}

// putBlob streams a body of known length into the blob store.
func (h *Handler) putBlob(w http.ResponseWriter, r *http.Request, p caller) error {
	lab, sum, err := blobOf(r)
	if err != nil {
		return err
	}
	if r.ContentLength < 0 {
		return problem.New(problem.Invalid, "The length of the bytes is not given.", "Send Content-Length.")
	}
	done, err := turn(r.Context(), h.parts, p.lab)
	if err != nil {
		return err
	}
	defer done()
	body := &cutBody{r: r.Body}
	if err := p.PutBlob(r.Context(), lab, exchange.BlobRef{SHA256: sum, Size: r.ContentLength}, body); err != nil {
		if body.err != nil { // the way, not the bytes
			return streamProblem(errors.Join(ErrTruncated, body.err))
		}
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// cutBody remembers that a body ended in an error of the connection.
type cutBody struct {
	r   io.Reader
	err error
}

func (c *cutBody) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	if err != nil && !errors.Is(err, io.EOF) {
		c.err = err
	}
	return n, err
}

func (h *Handler) getBlob(w http.ResponseWriter, r *http.Request, p caller) (err error) {
	lab, sum, err := blobOf(r)
	if err != nil {
		return err
	}
	from, inPart := rangeFrom(r.Header)
	body, size, err := p.GetBlob(r.Context(), lab, sum, from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, body.Close()) }()
	head := w.Header()
	head.Set("Content-Type", mediaBytes)
	head.Set("X-Content-Type-Options", "nosniff")
	head.Set("ETag", `"`+sum.String()+`"`)
	head.Set("Cache-Control", "private, max-age=31536000, immutable")
	if s, ok := body.(io.ReadSeeker); ok && r.Header.Get("Range") != "" && !inPart {
		http.ServeContent(w, r, "", time.Time{}, s)
		return nil
	}
	head.Set("Content-Length", strconv.FormatInt(size-from, 10))
	if inPart {
		head.Set("Content-Range", fmt.Sprintf("bytes %d-%d/%d", from, size-1, size))
		w.WriteHeader(http.StatusPartialContent)
	}
	_, err = io.Copy(w, body) // read from start to end: the store checks the hash
	return err
}

// rangeFrom reads a range that goes to the end (RFC 9110, 14.2); other ranges
// are left to the library.
func rangeFrom(h http.Header) (int64, bool) {
	s, ok := strings.CutPrefix(h.Get("Range"), "bytes=")
	s, toEnd := strings.CutSuffix(s, "-")
	n, err := strconv.ParseInt(s, 10, 64)
	if !ok || !toEnd || err != nil || n <= 0 {
		return 0, false
	}
	return n, true
}

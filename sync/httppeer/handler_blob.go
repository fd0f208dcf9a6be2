package httppeer

import (
	"errors"
	"io"
	"net/http"
	"strconv"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

type haveRequest struct {
	Hashes []record.Hash `json:"hashes"`
}

type haveAnswer struct {
	Missing []record.Hash `json:"missing"`
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

func (h *Handler) haveBlobs(w http.ResponseWriter, r *http.Request, p exchange.Peer) error {
	lab, err := labOf(r)
	if err != nil {
		return err
	}
	var q haveRequest
	if err := readCBOR(r, 64<<10, &q); err != nil {
		return err
	}
	missing, err := p.HaveBlobs(r.Context(), lab, q.Hashes)
	if err != nil {
		return err
	}
	return writeCBOR(w, haveAnswer{Missing: missing})
}

// putBlob streams a body of known length into the blob store.
func (h *Handler) putBlob(w http.ResponseWriter, r *http.Request, p exchange.Peer) error {
	lab, sum, err := blobOf(r)
	if err != nil {
		return err
	}
	if r.ContentLength < 0 {
		return problem.New(problem.Invalid, "The length of the bytes is not given.", "Send Content-Length.")
	}
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

func (h *Handler) getBlob(w http.ResponseWriter, r *http.Request, p exchange.Peer) (err error) {
	lab, sum, err := blobOf(r)
	if err != nil {
		return err
	}
	body, size, err := p.GetBlob(r.Context(), lab, sum)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, body.Close()) }()
	head := w.Header()
	head.Set("Content-Type", mediaBytes)
	head.Set("X-Content-Type-Options", "nosniff")
	head.Set("ETag", `"`+sum.String()+`"`)
	head.Set("Cache-Control", "private, max-age=31536000, immutable")
	if s, ok := body.(io.ReadSeeker); ok && r.Header.Get("Range") != "" {
		http.ServeContent(w, r, "", time.Time{}, s)
		return nil
	}
	head.Set("Content-Length", strconv.FormatInt(size, 10))
	_, err = io.Copy(w, body) // read from start to end: the store checks the hash
	return err
}

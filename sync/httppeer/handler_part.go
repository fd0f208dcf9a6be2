package httppeer

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
)

type partAnswer struct {
	Offset int64 `json:"offset"` // durable
}

// putPart streams one part of an attachment into its transfer. What arrived
// whole before a cut is kept.
func (h *Handler) putPart(w http.ResponseWriter, r *http.Request, p caller) error {
	lab, sum, err := blobOf(r)
	if err != nil {
		return err
	}
	end := endOfHeads
	if !isMedia(r, mediaBlocks) {
		end = endOfBytes
		if err := wantMedia(r, mediaPart); err != nil {
			return err
		}
	}
	offset, err1 := strconv.ParseInt(r.Header.Get(headerOffset), 10, 64)
	size, err2 := strconv.ParseInt(r.Header.Get(headerLength), 10, 64)
	if err := errors.Join(err1, err2); err != nil {
		return &problem.Error{Code: problem.Invalid, What: "Where the part belongs cannot be read.", Where: r.URL.Path,
			Fix: fmt.Sprintf("Send %s and %s in bytes.", headerOffset, headerLength), Err: err}
	}
	done, err := turn(r.Context(), h.parts, p.lab)
	if err != nil {
		return err
	}
	defer done()
	in, free, err := h.codec.decode(r.Body, r.Header.Get("Content-Encoding"), partLimit)
	if err != nil {
		return problem.New(problem.Invalid, fmt.Sprintf("A body with %v.", err), "Update the older of agent and server.")
	}
	defer free()
	body := newPartReader(in, end)
	at, err := p.PutPart(r.Context(), lab, exchange.BlobRef{SHA256: sum, Size: size}, offset, body)
	if err != nil {
		if body.err != nil && errors.Is(err, body.err) { // the way, not the bytes
			return streamProblem(body.err)
		}
		return err
	}
	return writeCBOR(w, partAnswer{Offset: at})
}

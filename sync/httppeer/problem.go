package httppeer

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// document is a problem document (RFC 9457) with members of ours.
type document struct {
	Type   string          `json:"type"`
	Title  string          `json:"title"`
	Status int             `json:"status"`
	Code   problem.Code    `json:"code"`
	Where  string          `json:"where,omitempty"`
	Fix    string          `json:"fix,omitempty"`
	Reason exchange.Reason `json:"reason,omitempty"`
	Head   *headMember     `json:"head,omitempty"`
	Offset *int64          `json:"offset,omitempty"`
}

type headMember struct {
	Seq  uint64      `json:"seq"`
	Hash record.Hash `json:"hash"`
}

// statusOf gives the status of a code. The exchange has two of its own since its
// first version: a request that makes no sense is 400, damaged bytes are 422.
func statusOf(c problem.Code) int {
	switch c {
	case problem.Invalid:
		return http.StatusBadRequest
	case problem.Damaged:
		return http.StatusUnprocessableEntity
	default:
		return problem.Status(c)
	}
}

// writeProblem answers with an error. What carries no problem is logged whole
// and shown as one neutral sentence; causes never leave the process.
func writeProblem(w http.ResponseWriter, r *http.Request, log *slog.Logger, err error) {
	code := problem.Of(err)
	d := document{Type: "about:blank", Status: statusOf(code), Code: code}
	if p, ok := problem.As(err); ok && code != problem.Internal {
		d.Title, d.Where, d.Fix = p.What, p.Where, p.Fix
		log.Info("sync request refused", "path", r.URL.Path, "code", string(code), "error", err)
	} else {
		d.Title, d.Fix = "The server could not do this because of an error of its own.", "Try again later; the details stand in the server's log."
		log.Error("sync request failed", "path", r.URL.Path, "error", err)
	}
	if h, ok := errors.AsType[*exchange.HeadError](err); ok {
		d.Reason, d.Head = h.Reason, &headMember{Seq: h.Head.Seq, Hash: h.Head.Hash}
	}
	if o, ok := errors.AsType[*exchange.OffsetError](err); ok {
		d.Offset = &o.Offset
	}
	if wait, ok := errors.AsType[*exchange.WaitError](err); ok {
		w.Header().Set("Retry-After", strconv.FormatInt(int64((wait.After+time.Second-1)/time.Second), 10))
		if wait.TooMany {
			d.Status = http.StatusTooManyRequests
		}
	}
	body, err := json.Marshal(d)
	if err != nil {
		log.Error("encode a problem", "error", err)
		w.WriteHeader(http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", mediaProblem)
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(d.Status)
	if _, err := w.Write(body); err != nil {
		log.Debug("send a problem", "path", r.URL.Path, "error", err)
	}
}

// waiting adds to an error the time that the answer asks to wait for (RFC 9110,
// 10.2.3), in seconds or as a date by the answering machine's own clock.
func waiting(resp *http.Response, err error) error {
	if resp.StatusCode != http.StatusTooManyRequests && resp.StatusCode != http.StatusServiceUnavailable {
		return err
	}
	v := resp.Header.Get("Retry-After")
	var after time.Duration
	if n, e := strconv.ParseUint(v, 10, 31); e == nil {
		after = time.Duration(n) * time.Second
	} else if at, e := http.ParseTime(v); e == nil {
		if sent, e := http.ParseTime(resp.Header.Get("Date")); e == nil {
			after = at.Sub(sent)
		}
	}
	if after <= 0 {
		return err
	}
	return &exchange.WaitError{After: min(after, maxWait), TooMany: resp.StatusCode == http.StatusTooManyRequests, Err: err}
}

// maxWait bounds what another machine may ask for.
const maxWait = time.Hour

// asError turns a problem document back into the error it was made from.
func (d *document) asError(o record.Origin) error {
	if d.Head != nil && (d.Reason == exchange.Gap || d.Reason == exchange.Fork) {
		return &exchange.HeadError{Reason: d.Reason, Origin: o, Head: record.Head{Seq: d.Head.Seq, Hash: d.Head.Hash}}
	}
	if d.Offset != nil && d.Code == problem.Conflict {
		return &exchange.OffsetError{Offset: *d.Offset}
	}
	if d.Code == problem.Internal || d.Code == "" {
		return &problem.Error{Code: problem.Unavailable, What: "The server has an error of its own.",
			Fix: "Nothing is lost here; it is tried again. Tell the administrator of the server if this stays.",
			Err: fmt.Errorf("status %d: %s", d.Status, d.Title)}
	}
	return &problem.Error{Code: d.Code, What: d.Title, Where: d.Where, Fix: d.Fix}
}

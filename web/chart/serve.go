package chart

import (
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"thudbook/sync/problem"
)

// maxBuckets is far above the width of any screen.
const maxBuckets = 20_000

// ParseEncoding reads the query of a request for traces: "buckets" (0 or
// absent: every sample) and "set" (filtered, raw or both; both when absent).
func ParseEncoding(q url.Values) (Encoding, error) {
	e := Encoding{Raw: true, Filtered: true}
	if s := q.Get("buckets"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 0 || n > maxBuckets {
			return e, problem.New(problem.Invalid, fmt.Sprintf("The number of buckets must be a whole number from 0 to %d, not %q.", maxBuckets, s), "Mend the address.")
		}
		e.Buckets = n
	}
	switch s := q.Get("set"); s {
	case "", "both":
	case "filtered":
		e.Raw = false
	case "raw":
		e.Filtered = false
	default:
		return e, problem.New(problem.Invalid, fmt.Sprintf("The set must be filtered, raw or both, not %q.", s), "Mend the address.")
	}
	return e, nil
}

// ServeTraces answers a request for the binary form of t. The error is that of
// the query or of t; nothing has been written then.
func ServeTraces(w http.ResponseWriter, r *http.Request, t Traces) error {
	e, err := ParseEncoding(r.URL.Query())
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := e.Encode(&b, t); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "application/octet-stream")
	h.Set("Content-Length", strconv.Itoa(b.Len()))
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write(b.Bytes()) // fails only when the reader went away
	return nil
}

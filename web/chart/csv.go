package chart

import (
	"bytes"
	"encoding/csv"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
)

// CSV writes every sample as delimited text with all digits: the time since
// time zero in seconds, then the channels, each with its unit and filter in its
// head. raw gives the curves as read, else the filtered ones; a channel that has
// only one of them gives that. What was not read is an empty cell.
func (t Traces) CSV(raw bool) ([]byte, error) {
	if err := t.Check(); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	head := []string{"time [s]"}
	curves := make([][]float64, 0, len(t.Channels))
	for _, c := range t.Channels {
		v, name := c.best(), c.Name
		if raw && c.Raw != nil {
			v = c.Raw
		} else if c.Filtered != nil && c.Class != "" {
			name += ", " + c.Class
		}
		if c.Unit != "" {
			name += " [" + c.Unit + "]"
		}
		head, curves = append(head, strings.TrimLeft(name, "=+-@\t\r")), append(curves, v)
	}
	if err := w.Write(head); err != nil {
		return nil, err
	}
	row := make([]string, len(head))
	for i, at := range t.TimeS {
		row[0] = strconv.FormatFloat(at, 'g', -1, 64)
		for k, v := range curves {
			if row[k+1] = ""; v != nil && !math.IsNaN(v[i]) && !math.IsInf(v[i], 0) {
				row[k+1] = strconv.FormatFloat(v[i], 'g', -1, 64)
			}
		}
		if err := w.Write(row); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// ServeCSV answers a request for the traces as a table; of the query "set" is
// read, filtered when absent. The error is that of the query or of t; nothing
// has been written then.
func ServeCSV(w http.ResponseWriter, r *http.Request, name string, t Traces) error {
	q := r.URL.Query()
	if q.Get("set") == "" {
		q = url.Values{"set": {"filtered"}}
	}
	e, err := ParseEncoding(q)
	if err != nil {
		return err
	}
	b, err := t.CSV(!e.Filtered)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/csv; charset=utf-8")
	h.Set("Content-Disposition", `attachment; filename="`+name+`.csv"`)
	h.Set("Content-Length", strconv.Itoa(len(b)))
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write(b) // fails only when the reader went away
	return nil
}

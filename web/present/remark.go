package present

import (
	"strings"

	"thudbook/metrics/limits"
	"thudbook/sync/lab"
)

// Remark is what stands beside a result: its note, the published form it follows in
// short words, and whether the constants of that form were confirmed against print.
// A form that this version does not know keeps its id.
func Remark(r *lab.Result) string {
	if r.Definition == "" {
		return r.Note
	}
	d, ok := limits.Lookup(r.Definition)
	if !ok {
		return join(r.Note, r.Definition)
	}
	note := r.Note
	if rest, said := strings.CutPrefix(note, d.Form); said { // the short words say it
		note = strings.TrimPrefix(rest, "; ")
	}
	words := d.Words
	switch {
	case strings.HasPrefix(d.Source, "common practice"):
	case d.Confirmed():
		words += ", confirmed against print"
	default:
		words += ", " + limits.Unconfirmed
	}
	return join(note, words)
}

func join(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

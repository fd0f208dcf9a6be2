package delimited

import (
	"strings"

	"thudbook/metrics/unit"
)

// maxHeader is the longest header text that is kept, in characters.
const maxHeader = 200

// header is what stands above the numbers.
type header struct {
	names, units []string
	line         int // of the names, from 1
	other        int // cells of a line above the numbers that does not fit their width
}

// head finds the header above line start. exact is false when the widths do
// not fit.
func (c *candidate) head(lines [][]byte, start int, encoding string) (h header, exact bool) {
	above := start
	for range 3 {
		p := before(lines, above)
		if p < 0 {
			break
		}
		cells := c.fit(lines[p], encoding)
		if cells == nil && h.other == 0 {
			if s := c.shape(lines[p]); s.filled() > 1 {
				h.other, h.line = s.filled(), p+1
			}
		}
		if cells != nil {
			h.names, h.line, h.other = cells, p+1, 0
			defer func() {
				if h.units == nil {
					h.units = unitsLine(lines[:h.line-1], h.names, encoding)
				}
			}()
			if q := before(lines, p); q >= 0 && unitsRow(cells) {
				if names := c.fit(lines[q], encoding); names != nil && !unitsRow(names) {
					h.names, h.units, h.line = names, cells, q+1
				}
			}
			return h, true
		}
		above = p
	}
	// Some programs put the header into a comment: "# t ax ay az".
	for p := start - 1; p >= 0 && p >= start-5; p-- {
		if rest, is := comment(lines[p]); is {
			if cells := c.fit(rest, encoding); cells != nil {
				return header{names: cells, line: p + 1}, true
			}
		}
	}
	return h, false
}

// fit splits a header line into as many texts as rows have cells, with the
// rows' delimiter or, failing that, another; nil if it cannot.
func (c *candidate) fit(line []byte, encoding string) []string {
	for _, d := range []byte{c.delimiter, '\t', ';', ',', '|', ' '} {
		cells := split(nil, line, d)
		for len(cells) > c.width && len(trim(cells[len(cells)-1])) == 0 {
			cells = cells[:len(cells)-1]
		}
		if c.trailing && len(cells) == c.width-1 {
			cells = append(cells, nil)
		}
		if len(cells) != c.width {
			continue
		}
		out := make([]string, len(cells))
		filled := false
		for i, cell := range cells {
			out[i] = clip(strings.TrimSpace(headerText(unquote(cell), encoding)), maxHeader)
			filled = filled || out[i] != ""
		}
		if filled {
			return out
		}
	}
	return nil
}

// unitsRow says whether at least half of the texts are units.
func unitsRow(cells []string) bool {
	units, filled := 0, 0
	for _, s := range cells {
		if s == "" || s == "-" {
			continue
		}
		filled++
		if _, ok := unit.Parse(s); ok {
			units++
		}
	}
	return units > 0 && 2*units >= filled
}

// unitsLine finds a line above the header that lists the unit of each column by
// its name, "units: t s; ax g", and gives them as a row; nil without one.
func unitsLine(above [][]byte, names []string, encoding string) []string {
	for i := len(above) - 1; i >= 0 && i >= len(above)-8; i-- {
		line := above[i]
		if rest, is := comment(line); is {
			line = rest
		}
		text := strings.TrimSpace(headerText(line, encoding))
		const word = "units:"
		if len(text) < len(word) || !strings.EqualFold(text[:len(word)], word) {
			continue
		}
		units, found := make([]string, len(names)), false
		for part := range strings.SplitSeq(text[len(word):], ";") {
			part = strings.TrimSpace(part)
			for k, name := range names {
				if rest, ok := strings.CutPrefix(part, name+" "); ok && name != "" {
					units[k], found = clip(strings.TrimSpace(rest), maxHeader), true
				}
			}
		}
		if found {
			return units
		}
	}
	return nil
}

package delimited

import (
	"bytes"
	"slices"
)

// sampleLines is how many lines decide the dialect; windowLines how many may
// stand before the first row of numbers.
const (
	sampleLines = 40
	windowLines = 4000
)

// shape is what a line looks like under one dialect.
type shape struct {
	width, numeric, blanks int
	first                  bool // the first cell that is not blank is a number
}

func (s shape) filled() int { return s.width - s.blanks }

// candidate is one way to read the file, with how well it fits.
type candidate struct {
	delimiter, decimal byte
	width              int  // cells of a row of numbers
	numeric            int  // numbers in most rows
	first              bool // rows begin with a number
	trailing           bool // the last cell of each row is blank
	quality            float64
	cells              [][]byte // scratch
}

// shape measures one line.
func (c *candidate) shape(line []byte) shape {
	c.cells = split(c.cells[:0], line, c.delimiter)
	s := shape{width: len(c.cells)}
	seen := false
	for _, cell := range c.cells {
		switch looksLike(cell, c.decimal) {
		case badBlank:
			s.blanks++
			continue
		case good, badNotFinite:
			s.numeric++
			s.first = s.first || !seen
		}
		seen = true
	}
	return s
}

// looksLike says whether a cell is a number under the given decimal sign.
func looksLike(cell []byte, decimal byte) badKind {
	cell = trim(cell)
	if len(cell) == 0 {
		return badBlank
	}
	if decimal == ',' && cell[len(cell)-1] == ',' {
		return badText // a delimiter rather than "1,"
	}
	if len(cell) > 64 {
		return badText
	}
	padded := [64 + slack]byte{}
	copy(padded[:], cell)
	if _, next := scan(padded[:len(cell)], 0, decimal); next == len(cell) {
		return good
	}
	_, kind := slow(cell, decimal)
	return kind
}

// judge fits the candidate to the sample; false when it finds no numbers.
func (c *candidate) judge(sample [][]byte) bool {
	shapes := make([]shape, len(sample))
	begins, trailing := 0, 0
	for i, line := range sample {
		shapes[i] = c.shape(line)
		if shapes[i].first {
			begins++
		}
	}
	c.first = begins > 0
	total := map[int]int{}
	for _, s := range shapes {
		if s.first == c.first {
			total[s.width] += s.numeric
		}
	}
	best := 0
	for w, n := range total {
		if n > best || n == best && w > c.width {
			best, c.width = n, w
		}
	}
	if best == 0 || c.width > MaxColumns {
		return false
	}
	var counts []int
	for _, s := range shapes {
		if s.width == c.width && s.first == c.first && s.numeric > 0 {
			counts = append(counts, s.numeric)
		}
	}
	slices.Sort(counts)
	c.numeric = counts[len(counts)/2]
	fit := 0.0
	for i, s := range shapes {
		if s.width != c.width || s.numeric < c.numeric {
			continue
		}
		fit += float64(s.numeric) / float64(s.filled())
		c.shape(sample[i])
		if len(trim(c.cells[len(c.cells)-1])) == 0 {
			trailing++
		}
	}
	c.trailing = trailing > 0 && trailing == len(counts)
	c.quality = fit / float64(len(sample))
	return true
}

// candidates lists the dialects to try, the likelier first.
func candidates(f Force, sample [][]byte) []*candidate {
	quoted := slices.ContainsFunc(sample, func(l []byte) bool { return bytes.IndexByte(l, '"') >= 0 })
	var out []*candidate
	for _, d := range []byte{',', ';', '\t', '|', ' '} {
		if f.Delimiter != 0 && d != f.Delimiter {
			continue
		}
		for _, p := range []byte{'.', ','} {
			if f.Decimal != 0 && p != f.Decimal {
				continue
			}
			if d == ',' && p == ',' && !quoted && (f.Delimiter == 0 || f.Decimal == 0) {
				continue
			}
			c := &candidate{delimiter: d, decimal: p}
			if c.judge(sample) {
				out = append(out, c)
			}
		}
	}
	return out
}

// start finds the first row of numbers among the lines, or -1.
func (c *candidate) start(lines [][]byte) int {
	i := slices.IndexFunc(lines, func(l []byte) bool {
		if _, is := comment(l); is || len(trim(l)) == 0 {
			return false
		}
		s := c.shape(l)
		return s.width == c.width && s.numeric >= c.numeric && s.first == c.first
	})
	// Rows just before it belong to the data too when they only have a fault.
	for i > 0 {
		p := before(lines, i)
		if p < 0 {
			break
		}
		s := c.shape(lines[p])
		row := s.first && c.first && 2*s.numeric >= s.filled()
		if !row && s.width == c.width && s.numeric > 0 && 2*s.numeric >= s.filled() {
			// Numbers with text in front: a row with a fault if the header
			// stands right above, else a header that holds numbers.
			if q := before(lines, p); q >= 0 {
				above := c.shape(lines[q])
				row = above.width == c.width && above.numeric == 0 && above.filled() > 0
			}
		}
		if !row {
			break
		}
		i = p
	}
	return i
}

// before gives the index of the nearest line above i that is neither blank nor
// a comment, or -1.
func before(lines [][]byte, i int) int {
	for i--; i >= 0; i-- {
		if _, is := comment(lines[i]); !is && len(trim(lines[i])) > 0 {
			return i
		}
	}
	return -1
}

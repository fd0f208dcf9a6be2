package delimited

import "bytes"

// split cuts a line into cells, quotes respected, and appends them to dst.
// Delimiter ' ' stands for any run of blanks and tabs. Cells keep their quotes.
func split(dst [][]byte, line []byte, delimiter byte) [][]byte {
	i := 0
	if delimiter == ' ' {
		line = trim(line)
		for i < len(line) {
			j := cellEnd(line, i, ' ')
			dst = append(dst, line[i:j])
			for j < len(line) && blank(line[j]) {
				j++
			}
			i = j
		}
		return dst
	}
	for {
		j := cellEnd(line, i, delimiter)
		dst = append(dst, line[i:j])
		if j >= len(line) {
			return dst
		}
		i = j + 1
	}
}

func blank(c byte) bool { return c == ' ' || c == '\t' }

// cellEnd finds the end of the cell that starts at i.
func cellEnd(line []byte, i int, delimiter byte) int {
	j := i
	if delimiter != ' ' {
		for j < len(line) && line[j] == ' ' {
			j++
		}
	}
	if j < len(line) && line[j] == '"' {
		if k := closingQuote(line, j+1); k > 0 {
			i = k
		}
	}
	if delimiter == ' ' {
		for i < len(line) && !blank(line[i]) {
			i++
		}
		return i
	}
	if k := bytes.IndexByte(line[i:], delimiter); k >= 0 {
		return i + k
	}
	return len(line)
}

// closingQuote gives the index behind the quote that ends a cell, or 0. A
// doubled quote stands for one inside the text.
func closingQuote(line []byte, i int) int {
	for i < len(line) {
		k := bytes.IndexByte(line[i:], '"')
		if k < 0 {
			return 0
		}
		i += k + 1
		if i < len(line) && line[i] == '"' {
			i++
			continue
		}
		return i
	}
	return 0
}

// comment says whether a line is a comment, and gives what stands behind its
// sign: "#", "%" or "//".
func comment(line []byte) (rest []byte, is bool) {
	line = trim(line)
	switch {
	case len(line) == 0:
		return nil, false
	case line[0] == '#' || line[0] == '%':
		return line[1:], true
	case len(line) > 1 && line[0] == '/' && line[1] == '/':
		return line[2:], true
	}
	return nil, false
}

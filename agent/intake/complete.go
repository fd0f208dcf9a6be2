package intake

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"thudbook/metrics/chanmap"
)

// Times of the rules. A file that never satisfies the rule of its map is taken
// in after staleAfter without a change, with a flag: a hit on a specimen that
// can be hit once must not be lost to a rule.
const (
	defaultQuiet = 1500 * time.Millisecond
	emptyFactor  = 3 // an empty file waits this many times longer
	staleAfter   = 60 * time.Second
	footerWindow = 4 << 10
)

// rule says when a watched file counts as finished.
type rule struct {
	chanmap.Complete
	quiet      time.Duration
	stale      time.Duration
	headerRows int
}

func ruleOf(m *chanmap.Map, stale time.Duration) rule {
	r := rule{quiet: defaultQuiet, stale: stale}
	if m != nil {
		r.Complete, r.headerRows = m.Complete, m.Format.HeaderRows
	}
	if r.QuietMS > 0 {
		r.quiet = time.Duration(r.QuietMS) * time.Millisecond
	}
	if r.stale <= 0 {
		r.stale = staleAfter
	}
	return r
}

// growing is what is known of a file that is not taken in yet.
type growing struct {
	size    int64
	mod     time.Time
	changed time.Time // when size or time were last seen to differ
	since   time.Time // when the file was first seen
	done    time.Time // when the rule was first satisfied; zero before
	rows    rowCount
	why     string // what it waits for, in words
	fix     string
	retry   time.Time // not before; after a failed try
}

// note takes over size and time of a new look.
func (g *growing) note(size int64, mod, now time.Time) {
	if g.since.IsZero() {
		g.since = now
	}
	if g.changed.IsZero() || size != g.size || !mod.Equal(g.mod) {
		g.size, g.mod, g.changed, g.done = size, mod, now, time.Time{}
		g.retry = time.Time{}
	}
}

// verdict is what a rule says of a file.
type verdict struct {
	ready bool
	stale bool          // ready only because nothing changed for long
	why   string        // what it waits for
	again time.Duration // when to look again
}

// judge applies the rule. beside tells whether a file of that name stands in
// the same folder. Errors are those of opening and reading the file.
func (r rule) judge(g *growing, name string, open func() (*os.File, error), beside func(string) bool, now time.Time) (verdict, error) {
	still := now.Sub(g.changed)
	quiet := r.quiet
	if g.size == 0 {
		quiet *= emptyFactor
	}
	ok, why := false, "still being written"
	switch {
	case r.Rule == "marker" && r.Marker != "":
		ok = beside(name + r.Marker)
		why = "waiting for the marker file " + name + r.Marker
	case r.Rule == "footer" && r.Footer != "":
		var err error
		if ok, err = hasFooter(open, g.size, r.Footer); err != nil {
			return verdict{}, err
		}
		why = fmt.Sprintf("still being written: the last line is not %q", r.Footer)
	case r.Rule == "rows" && r.Rows > 0:
		if err := g.rows.read(open, g.size, r.headerRows); err != nil {
			return verdict{}, err
		}
		n := g.rows.complete
		if still >= quiet && g.rows.tail {
			n++
		}
		ok = n >= r.Rows
		why = fmt.Sprintf("still being written: %d of %d rows", n, r.Rows)
	default:
		if still >= quiet {
			return verdict{ready: true}, nil
		}
		return verdict{why: why, again: quiet - still}, nil
	}
	if ok {
		return verdict{ready: true}, nil
	}
	if still >= r.stale {
		return verdict{ready: true, stale: true, why: why}, nil
	}
	return verdict{why: why, again: r.quiet}, nil
}

// hasFooter tells whether the last line with text begins with footer.
func hasFooter(open func() (*os.File, error), size int64, footer string) (bool, error) {
	f, err := open()
	if err != nil {
		return false, err
	}
	defer f.Close()
	from := max(0, size-footerWindow)
	b, err := io.ReadAll(io.NewSectionReader(f, from, size-from))
	if err != nil {
		return false, err
	}
	b = bytes.ReplaceAll(b, []byte{0}, nil) // UTF-16 text is compared by its plain letters
	text := strings.TrimRight(string(b), " \t\r\n")
	if i := strings.LastIndexAny(text, "\r\n"); i >= 0 {
		text = text[i+1:]
	}
	return strings.HasPrefix(strings.TrimSpace(text), footer), nil
}

// rowCount counts data rows of a growing file without reading any part twice.
type rowCount struct {
	at       int64
	complete int  // rows that end in a line break
	tail     bool // text after the last line break
	lines    int  // lines with text, header included
	first    byte // first byte of the current line that matters; 0 before
}

func (c *rowCount) read(open func() (*os.File, error), size int64, headerRows int) error {
	if size < c.at {
		*c = rowCount{}
	}
	if size == c.at {
		return nil
	}
	f, err := open()
	if err != nil {
		return err
	}
	defer f.Close()
	s := io.NewSectionReader(f, c.at, size-c.at)
	buf := make([]byte, 64<<10)
	for {
		n, err := s.Read(buf)
		c.count(buf[:n], headerRows)
		c.at += int64(n)
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

func (c *rowCount) count(b []byte, headerRows int) {
	for _, ch := range b {
		switch ch {
		case '\n', '\r':
			if c.first != 0 {
				c.lines++
				if isDataRow(c.first, c.lines, headerRows) {
					c.complete++
				}
			}
			c.first = 0
		case 0, ' ', '\t', '"':
		default:
			if c.first == 0 {
				c.first = ch
			}
		}
	}
	c.tail = c.first != 0 && isDataRow(c.first, c.lines+1, headerRows)
}

// isDataRow: with known header rows all that follow them; else what begins like a number.
func isDataRow(first byte, line, headerRows int) bool {
	if headerRows > 0 {
		return line > headerRows
	}
	return first >= '0' && first <= '9' || first == '-' || first == '+' || first == '.'
}

// words names the rule for the screen, to follow "a file counts as finished".
func (r rule) words() string {
	switch {
	case r.Rule == "marker" && r.Marker != "":
		return "when its marker file NAME" + r.Marker + " is there (rule marker)"
	case r.Rule == "footer" && r.Footer != "":
		return fmt.Sprintf("when its last line begins with %q (rule footer)", r.Footer)
	case r.Rule == "rows" && r.Rows > 0:
		return fmt.Sprintf("when it has %d rows (rule rows)", r.Rows)
	}
	return fmt.Sprintf("after %g s without a change (rule quiet)", r.quiet.Seconds())
}

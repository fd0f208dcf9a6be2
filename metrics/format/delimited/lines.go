package delimited

import (
	"bytes"
	"context"
	"io"
	"sync"
)

const (
	blockSize = 256 << 10
	// maxLine is the longest line that is read; a row of 64 channels has about 1 KiB.
	maxLine = 1 << 20
)

// lineReader hands out the lines of a stream without copying them. A line is
// valid until the next call of fill. It reads in big blocks and holds at most
// one block and one line.
type lineReader struct {
	src  io.Reader
	buf  []byte // has slack more bytes behind its length
	pos  int    // first byte not handed out
	end  int    // end of what is read
	eof  bool
	err  error // other than io.EOF
	term byte  // '\n', or '\r' in files that know no '\n'
	line int   // number of lines handed out
}

// blocks keeps buffers of readers that are done; a sync.Pool hands out nothing that
// is still in use.
var blocks sync.Pool

func newLineReader(src io.Reader) *lineReader {
	r := &lineReader{src: src, term: '\n'}
	if b, ok := blocks.Get().(*[]byte); ok {
		r.buf = *b
	} else {
		r.buf = make([]byte, blockSize, blockSize+slack)
	}
	return r
}

// release gives the buffer back. Nothing more can be read.
func (r *lineReader) release() {
	if buf := r.buf; len(buf) == blockSize {
		blocks.Put(&buf)
	}
	r.buf, r.pos, r.end, r.eof = nil, 0, 0, true
}

// fill reads on behind what is there, moving the rest to the front first. It
// returns false when nothing more comes.
func (r *lineReader) fill(ctx context.Context) bool {
	if r.eof || r.err != nil {
		return false
	}
	if err := ctx.Err(); err != nil {
		r.err = err
		return false
	}
	if r.pos > 0 {
		r.end = copy(r.buf, r.buf[r.pos:r.end])
		r.pos = 0
	}
	if r.end == len(r.buf) {
		if len(r.buf) > maxLine {
			return false
		}
		grown := make([]byte, 2*len(r.buf), 2*len(r.buf)+slack)
		copy(grown, r.buf)
		r.buf = grown
	}
	for empty := 0; r.end < len(r.buf) && empty < 100; {
		n, err := r.src.Read(r.buf[r.end:])
		r.end += n
		if err == io.EOF {
			r.eof = true
			clear(r.buf[r.end:min(r.end+slack, cap(r.buf))]) // ends the last line for scan
			break
		}
		if err != nil {
			r.err = err
			return false
		}
		if n == 0 {
			empty++
		}
	}
	if !r.eof && r.end < len(r.buf) {
		r.err = io.ErrNoProgress
		return false
	}
	return true
}

// next gives the next line without its end. ended is false for a last line
// that lacks its line end. ok is false at the end, on a read error, and when a
// line is longer than maxLine (tooLong).
func (r *lineReader) next(ctx context.Context) (line []byte, ended, ok bool) {
	for {
		if i := bytes.IndexByte(r.buf[r.pos:r.end], r.term); i >= 0 {
			line = r.buf[r.pos : r.pos+i]
			r.pos += i + 1
			r.line++
			return chop(line), true, true
		}
		if !r.fill(ctx) {
			break
		}
	}
	if r.err != nil || !r.eof || r.pos == r.end {
		return nil, false, false
	}
	line = r.buf[r.pos:r.end]
	r.pos = r.end
	r.line++
	return chop(line), false, true
}

// tooLong is true when next stopped at a line over the limit.
func (r *lineReader) tooLong() bool { return r.err == nil && !r.eof }

func chop(line []byte) []byte {
	if n := len(line); n > 0 && line[n-1] == '\r' {
		return line[:n-1]
	}
	return line
}

// setTerm finds out how lines end in what is read so far.
func (r *lineReader) setTerm() {
	head := r.buf[r.pos:r.end]
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		r.term = '\r'
	}
}

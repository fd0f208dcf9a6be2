package httppeer

import (
	"crypto/sha256"
	"encoding/binary"
	"hash/crc32"
	"io"
	"net/http"
)

// A part of an attachment travels in the same frames as records, of at most
// blockBytes each: what arrived before a cut, or before bytes that were altered
// on the way, is known to be right and is kept.
const blockBytes = 64 << 10

// partEnd says what the sum at the end of a part covers.
type partEnd uint8

const (
	endOfBytes partEnd = iota // everything before it, as with records
	endOfHeads                // the heads of its frames: their lengths, check sums and order
)

// takesBlocks is whether the other side takes parts whose end sums up the heads:
// the whole attachment has a hash of its own, and each block its check sum.
func takesBlocks(h http.Header) bool { return lists(h, "Accept-Patch", mediaBlocks) }

// encodePart reads r to its end, about size bytes, into frames.
func encodePart(r io.Reader, size int64, end partEnd) ([]byte, int64, error) {
	b := make([]byte, 0, size+(size/blockBytes+2)*frameHeader+2*blockBytes+trailerSize)
	heads := sha256.New()
	var total int64
	for {
		start := len(b)
		b = append(b, make([]byte, frameHeader+blockBytes)...)
		n, err := io.ReadFull(r, b[start+frameHeader:])
		b = b[:start+frameHeader+n]
		total += int64(n)
		if n > 0 {
			binary.BigEndian.PutUint32(b[start:], uint32(n))
			binary.BigEndian.PutUint32(b[start+4:], crc32.Checksum(b[start+frameHeader:], castagnoli))
			heads.Write(b[start : start+frameHeader])
		} else {
			b = b[:start]
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			if end == endOfHeads {
				return appendSum(b, [sha256.Size]byte(heads.Sum(nil))), total, nil
			}
			return appendEnd(b, 0), total, nil
		}
		if err != nil {
			return nil, 0, err
		}
	}
}

// partReader gives the bytes of a part, block by block, each only after its
// check sum was right; io.EOF only at a proper end.
type partReader struct {
	f    *frameReader
	rest []byte
	err  error // why the way, not the disk, ended it
}

func newPartReader(r io.Reader, end partEnd) *partReader {
	f := newFrameReader(r, blockBytes)
	f.buf, f.part = make([]byte, blockBytes), end
	return &partReader{f: f}
}

func (p *partReader) Read(b []byte) (int, error) {
	if len(p.rest) == 0 {
		if p.err != nil {
			return 0, p.err
		}
		raw, err := p.f.next()
		if raw == nil && err == nil {
			err = io.EOF
		}
		if err != nil {
			p.err = err
			return 0, err
		}
		p.rest = raw
	}
	n := copy(b, p.rest)
	p.rest = p.rest[n:]
	return n, nil
}

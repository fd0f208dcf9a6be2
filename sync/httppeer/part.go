package httppeer

import (
	"encoding/binary"
	"hash/crc32"
	"io"
)

// A part of an attachment travels in the same frames as records, of at most
// blockBytes each: what arrived before a cut, or before bytes that were altered
// on the way, is known to be right and is kept.
const blockBytes = 64 << 10

// encodePart reads r to its end, about size bytes, into frames.
func encodePart(r io.Reader, size int64) ([]byte, int64, error) {
	b := make([]byte, 0, size+(size/blockBytes+2)*frameHeader+2*blockBytes+trailerSize)
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
		} else {
			b = b[:start]
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF {
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

func newPartReader(r io.Reader) *partReader {
	f := newFrameReader(r, blockBytes)
	f.buf = make([]byte, blockBytes)
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

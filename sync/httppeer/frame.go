package httppeer

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"hash/crc32"
	"io"

	"thudbook/sync/record"
)

// A stream of records is a run of frames: length (4 bytes, big endian),
// CRC-32C of the bytes (4 bytes), the bytes. It ends with a frame of length 0
// and CRC 0, followed by the SHA-256 of everything before it, so that a cut
// stream never looks like a whole one.

// Errors of a stream.
var (
	ErrTruncated = errors.New("the stream of records was cut short")
	ErrCorrupt   = errors.New("the stream of records was altered on the way")
	ErrTooLong   = errors.New("the stream of records is longer than is taken at once")
)

const (
	frameHeader = 8
	trailerSize = frameHeader + sha256.Size
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// appendFrames encodes a whole stream.
func appendFrames(b []byte, records [][]byte) []byte {
	start := len(b)
	for _, raw := range records {
		b = binary.BigEndian.AppendUint32(b, uint32(len(raw)))
		b = binary.BigEndian.AppendUint32(b, crc32.Checksum(raw, castagnoli))
		b = append(b, raw...)
	}
	return appendEnd(b, start)
}

func appendEnd(b []byte, start int) []byte {
	return appendSum(b, sha256.Sum256(b[start:]))
}

func appendSum(b []byte, sum [sha256.Size]byte) []byte {
	b = append(b, make([]byte, frameHeader)...)
	return append(b, sum[:]...)
}

// framesSize is the length of the encoded stream.
func framesSize(records [][]byte) int {
	n := trailerSize
	for _, raw := range records {
		n += frameHeader + len(raw)
	}
	return n
}

// readFrames reads a whole stream of at most limit bytes of records. Nothing of
// a stream is used unless all of it is right.
func readFrames(r io.Reader, limit int) ([][]byte, error) {
	f := newFrameReader(r, record.MaxBytes)
	var out [][]byte
	left := limit
	for {
		raw, err := f.next()
		if err != nil {
			return nil, err
		}
		if raw == nil {
			return out, nil
		}
		if left -= len(raw); left < 0 {
			return nil, fmt.Errorf("%w: more than %d bytes", ErrTooLong, limit)
		}
		out = append(out, raw)
	}
}

type frameReader struct {
	r    *bufio.Reader
	sum  hash.Hash
	most uint32 // bytes of a frame
	buf  []byte // used again for every frame; nil: a new one for each
	part partEnd
}

func newFrameReader(r io.Reader, most uint32) *frameReader {
	return &frameReader{r: bufio.NewReaderSize(r, 32<<10), sum: sha256.New(), most: most}
}

// next gives the bytes of a frame, or nil at a proper end.
func (f *frameReader) next() ([]byte, error) {
	var h [frameHeader]byte
	if err := f.full(h[:]); err != nil {
		return nil, err
	}
	n, crc := binary.BigEndian.Uint32(h[:4]), binary.BigEndian.Uint32(h[4:])
	if n == 0 {
		return nil, f.end(crc)
	}
	if n > f.most {
		return nil, fmt.Errorf("%w: a frame of %d bytes, one has at most %d", ErrCorrupt, n, f.most)
	}
	raw := f.buf
	if raw == nil {
		raw = make([]byte, n)
	}
	raw = raw[:n]
	if err := f.full(raw); err != nil {
		return nil, err
	}
	if crc32.Checksum(raw, castagnoli) != crc {
		return nil, fmt.Errorf("%w: check sum of a frame", ErrCorrupt)
	}
	f.sum.Write(h[:])
	if f.part != endOfHeads {
		f.sum.Write(raw)
	}
	return raw, nil
}

func (f *frameReader) end(crc uint32) error {
	var want [sha256.Size]byte
	if err := f.full(want[:]); err != nil {
		return err
	}
	if crc != 0 || [sha256.Size]byte(f.sum.Sum(nil)) != want {
		return fmt.Errorf("%w: check sum of the stream", ErrCorrupt)
	}
	if _, err := f.r.ReadByte(); !errors.Is(err, io.EOF) {
		if err != nil {
			return fmt.Errorf("%w: %w", ErrTruncated, err)
		}
		return fmt.Errorf("%w: bytes behind the end", ErrCorrupt)
	}
	return nil
}

func (f *frameReader) full(b []byte) error {
	_, err := io.ReadFull(f.r, b)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return ErrTruncated
	default:
		return fmt.Errorf("%w: %w", ErrTruncated, err)
	}
}

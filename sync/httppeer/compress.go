package httppeer

import (
	"errors"
	"fmt"
	"io"
	"runtime"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// Bodies of records and parts may be compressed with zstd (RFC 8878), told by
// Content-Encoding. A server says that it takes them with Accept-Encoding in
// its answers (RFC 7694), a client in its questions; to whoever says nothing
// they go as they are. An attachment's own bytes and hashes are never those of
// the compressed form.
const (
	encodingZstd = "zstd"

	windowBytes  = 1 << 20 // of the encoder
	maxEncoders  = 4       // at once
	maxWindow    = 2 << 20 // that a decoder makes room for
	maxRatio     = 1000    // decoded to encoded bytes, beyond ratioFree
	ratioFree    = 1 << 20
	worthRatio   = 0.9 // above it compression is not worth its time
	worthBytes   = 512
	sampleBytes  = 64 << 10
	decodedSlack = 1 << 10
)

// ErrBomb is that of a body that grows beyond all measure when it is decoded.
var ErrBomb = errors.New("the body is much larger when decoded than what is taken")

// codec encodes and decodes. It is safe for concurrent use.
type codec struct {
	enc      *zstd.Encoder
	decoders sync.Pool
}

// theCodec is the one of this process: an encoder's tables are megabytes, more
// than a short session is worth.
var theCodec = sync.OnceValue(func() *codec {
	enc, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithWindowSize(windowBytes),
		zstd.WithEncoderConcurrency(min(runtime.GOMAXPROCS(0), maxEncoders)), zstd.WithLowerEncoderMem(true))
	if err != nil {
		panic(err) // these options are right, or no test passes
	}
	return &codec{enc: enc}
})

// encode gives the compressed form, or false where that is not worth it. A
// large body is judged by its beginning.
func (c *codec) encode(b []byte) ([]byte, bool) {
	if len(b) < worthBytes {
		return b, false
	}
	if len(b) > 2*sampleBytes {
		if s := c.enc.EncodeAll(b[:sampleBytes], nil); float64(len(s)) > worthRatio*sampleBytes {
			return b, false
		}
	}
	z := c.enc.EncodeAll(b, make([]byte, 0, len(b)/2))
	if float64(len(z)) > worthRatio*float64(len(b)) || len(b) > ratioFree+maxRatio/2*len(z) {
		return b, false
	}
	return z, true
}

// decode gives a reader of at most limit decoded bytes; the caller calls done
// after reading.
func (c *codec) decode(r io.Reader, encoding string, limit int64) (out io.Reader, done func(), err error) {
	switch encoding {
	case "", "identity":
		return &bounded{r: r, left: limit}, func() {}, nil
	case encodingZstd:
	default:
		return nil, nil, fmt.Errorf("content encoding %q", encoding)
	}
	in := &counted{r: r}
	d, ok := c.decoders.Get().(*zstd.Decoder)
	if ok {
		err = d.Reset(in)
	} else {
		d, err = zstd.NewReader(in, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
			zstd.WithDecoderMaxWindow(maxWindow), zstd.WithDecoderMaxMemory(64<<20))
	}
	if err != nil {
		return nil, nil, fmt.Errorf("%w: %w", ErrCorrupt, err)
	}
	done = func() {
		if d.Reset(nil) == nil {
			c.decoders.Put(d)
		}
	}
	return &bounded{r: &decoding{d: d, in: in}, in: in, left: limit}, done, nil
}

// decoding tells errors of the way from those of the encoded bytes.
type decoding struct {
	d  *zstd.Decoder
	in *counted
}

func (d *decoding) Read(p []byte) (int, error) {
	n, err := d.d.Read(p)
	switch {
	case err == nil || errors.Is(err, io.EOF):
		return n, err
	case d.in.err != nil:
		return n, d.in.err
	case errors.Is(err, io.ErrUnexpectedEOF):
		return n, err
	case errors.Is(err, zstd.ErrWindowSizeExceeded), errors.Is(err, zstd.ErrDecoderSizeExceeded):
		return n, fmt.Errorf("%w: %w", ErrBomb, err)
	}
	return n, fmt.Errorf("%w: %w", ErrCorrupt, err)
}

// counted counts what is read, and remembers what ended it.
type counted struct {
	r   io.Reader
	n   int64
	err error
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	if err != nil && !errors.Is(err, io.EOF) {
		c.err = err
	}
	return n, err
}

// bounded ends with an error where more comes than was agreed, or more than
// any honest sender's bytes grow to.
type bounded struct {
	r       io.Reader
	in      *counted // nil: not compressed
	left    int64
	decoded int64
}

func (b *bounded) Read(p []byte) (int, error) {
	n, err := b.r.Read(p[:min(int64(len(p)), b.left+1)])
	b.left -= int64(n)
	b.decoded += int64(n)
	if b.left < 0 {
		if b.in != nil {
			return 0, fmt.Errorf("%w: %w", ErrTooLong, ErrBomb)
		}
		return 0, ErrTooLong
	}
	if b.in != nil && b.decoded > ratioFree+maxRatio*b.in.n {
		return 0, fmt.Errorf("%w: %d bytes from %d", ErrBomb, b.decoded, b.in.n)
	}
	return n, err
}

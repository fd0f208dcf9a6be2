// Package wav reads the samples of RIFF WAVE files as counts: PCM of 16, 24 and
// 32 bits and IEEE float of 32 and 64 bits, also in the extensible form
// (Microsoft and IBM, "Multimedia Programming Interface and Data
// Specifications 1.0", 1991; "Multiple channel audio data and WAVE files",
// 2001; from memory, not confirmed against print).
//
// A WAV says nothing of sensors. A count of PCM is its least significant bit; of
// 24 valid bits in a container of 32 the upper 24 count. A count of a float file
// is 1.0 of it.
package wav

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"thudbook/metrics/fault"
	"thudbook/metrics/format/textline"
)

// maxChannels is the most channels of a file that is read.
const maxChannels = 1024

// Options says what is kept and how much.
type Options struct {
	// Keep says whether the samples of a channel, from 1, are wanted. Nil keeps all.
	Keep func(channel int) bool
	// MaxValues is the most samples over all channels kept; 0: 20 million.
	MaxValues int
}

// File is what was read.
type File struct {
	Channels int
	RateHz   float64
	Bits     int  // valid bits of a sample
	Float    bool // IEEE float
	Frames   int
	Values   [][]float64    // one for each channel, in counts; nil where not kept
	Bad      []*fault.Error // one for each channel: its first sample that is not finite
	Fault    *fault.Error   // the data is cut short; what is there has been read
	Notes    []string
}

// FullScale is the largest count of PCM; 0 for float, where none is laid down.
func (f *File) FullScale() float64 {
	if f.Float {
		return 0
	}
	return float64(int64(1)<<(f.Bits-1) - 1)
}

// IsFile says whether a stream that begins so is a WAV, also one of the kinds
// that Read refuses.
func IsFile(head []byte) bool {
	if len(head) < 12 || string(head[8:12]) != "WAVE" {
		return false
	}
	switch string(head[:4]) {
	case "RIFF", "RIFX", "RF64", "BW64":
		return true
	}
	return false
}

// sample is how one sample is stored.
type sample struct {
	bytes int  // 2, 3, 4, 8
	float bool // IEEE
	shift uint // bits below the valid ones
}

type reader struct {
	ctx     context.Context
	src     io.Reader
	at      int64 // bytes read
	riff    int64 // size that the file's head declares
	options Options
	file    File
	sample  sample
	frame   int // bytes of a frame
	formed  bool
}

// Read reads a WAV. What makes the whole of it unusable is a *fault.Error and
// no file: no WAV, an encoding that is not read, no data, too many values.
func Read(ctx context.Context, src io.Reader, o Options) (*File, error) {
	if o.MaxValues <= 0 {
		o.MaxValues = 20_000_000
	}
	r := &reader{ctx: ctx, src: src, options: o}
	var head [12]byte
	if err := r.full(head[:], "the file's head"); err != nil {
		if r.at == 0 {
			if f, ok := fault.As(err); ok && f.Code == fault.Truncated {
				return nil, &fault.Error{Code: fault.Empty, What: "the file is empty", Fix: "export it again from the acquisition program"}
			}
		}
		return nil, err
	}
	switch {
	case !IsFile(head[:]):
		return nil, unreadable("the file is no RIFF WAVE file", "export it as WAV, PCM or float")
	case string(head[:4]) != "RIFF":
		return nil, unreadable(fmt.Sprintf("the file is a WAVE file of the form %s, which is not read", head[:4]), "export it as plain WAV (RIFF), cut to the shot")
	}
	r.riff = int64(binary.LittleEndian.Uint32(head[4:]))
	for {
		done, err := r.chunk()
		if err != nil {
			return nil, err
		}
		if done {
			return &r.file, nil
		}
	}
}

func unreadable(what, fix string) *fault.Error {
	return &fault.Error{Code: fault.Unreadable, What: what, Fix: fix}
}

// full fills b; a file that ends within it is a fault.
func (r *reader) full(b []byte, what string) error {
	n, err := io.ReadFull(r.src, b)
	r.at += int64(n)
	switch {
	case err == nil:
		return r.ctx.Err()
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return &fault.Error{Code: fault.Truncated, What: fmt.Sprintf("the file ends at byte %d, within %s", r.at, what), Fix: "copy it again; the recorder may not have finished writing"}
	}
	return textline.Broken(r.ctx, fmt.Sprintf("the file, at byte %d,", r.at), 0, err)
}

// chunk reads one chunk; done is true behind the data.
func (r *reader) chunk() (done bool, err error) {
	start := r.at
	var head [8]byte
	if err := r.full(head[:], "the head of a chunk"); err != nil {
		if f, ok := fault.As(err); ok && f.Code == fault.Truncated {
			f.Code, f.What = fault.NoData, fmt.Sprintf("the file ends at byte %d without a chunk of data", r.at)
		}
		return false, err
	}
	size := int64(binary.LittleEndian.Uint32(head[4:]))
	switch string(head[:4]) {
	case "fmt ":
		if r.formed {
			return false, unreadable(fmt.Sprintf("the file has a second chunk \"fmt \" at byte %d", start), "export it again")
		}
		if size < 16 || size > 1<<16 {
			return false, unreadable(fmt.Sprintf("the chunk \"fmt \" at byte %d has %d bytes", start, size), "export it again")
		}
		b := make([]byte, size+size&1)
		if err := r.full(b, "the chunk \"fmt \""); err != nil {
			return false, err
		}
		return false, r.form(b[:size], start)
	case "data":
		if !r.formed {
			return false, unreadable(fmt.Sprintf("the data at byte %d comes before the chunk \"fmt \" that says how to read it", start), "export it again")
		}
		return true, r.data(size)
	}
	skip := size + size&1
	n, err := io.Copy(io.Discard, io.LimitReader(&ctxReader{r.ctx, r.src}, skip))
	r.at += n
	if err != nil {
		return false, textline.Broken(r.ctx, fmt.Sprintf("the file, at byte %d,", r.at), 0, err)
	}
	return false, nil
}

// subFormat is the end of the extensible form's GUID, the same for PCM and float.
const subFormat = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"

// form reads the chunk "fmt ".
func (r *reader) form(b []byte, start int64) error {
	const pcm, float, extensible = 1, 3, 0xfffe
	le := binary.LittleEndian
	tag, channels, rate := le.Uint16(b), int(le.Uint16(b[2:])), le.Uint32(b[4:])
	block, bits := int(le.Uint16(b[12:])), int(le.Uint16(b[14:]))
	valid := bits
	if tag == extensible {
		if len(b) < 40 || string(b[26:40]) != subFormat {
			return unreadable(fmt.Sprintf("the chunk \"fmt \" at byte %d is of an extensible form that is not known", start), "export PCM or float")
		}
		tag = le.Uint16(b[24:])
		if v := int(le.Uint16(b[18:])); v > 0 && tag == pcm {
			valid = v
		}
	}
	switch {
	case tag == pcm && (bits == 16 || bits == 24 || bits == 32):
	case tag == float && (bits == 32 || bits == 64):
	case tag == pcm || tag == float:
		return unreadable(fmt.Sprintf("samples of %d bits (encoding %d) are not read", bits, tag), "export PCM of 16, 24 or 32 bits, or float of 32 or 64")
	default:
		return unreadable(fmt.Sprintf("the encoding %d is not read: it may lose or bend samples", tag), "export PCM of 16, 24 or 32 bits, or float of 32 or 64")
	}
	switch {
	case channels < 1 || channels > maxChannels:
		return unreadable(fmt.Sprintf("the file names %d channels, 1 to %d are read", channels, maxChannels), "export it again")
	case rate == 0:
		return &fault.Error{Code: fault.TimeColumn, What: fmt.Sprintf("the chunk \"fmt \" at byte %d names a rate of 0 samples a second", start), Fix: "export it again with its rate"}
	case block != channels*bits/8:
		return unreadable(fmt.Sprintf("%d channels of %d bits do not make a frame of %d bytes", channels, bits, block), "export it again")
	case valid > bits || valid < 2:
		return unreadable(fmt.Sprintf("%d valid bits do not go into samples of %d", valid, bits), "export it again")
	}
	r.sample = sample{bytes: bits / 8, float: tag == float, shift: uint(bits - valid)}
	r.frame = block
	r.file = File{Channels: channels, RateHz: float64(rate), Bits: valid, Float: tag == float,
		Values: make([][]float64, channels), Bad: make([]*fault.Error, channels)}
	r.formed = true
	return nil
}

// ctxReader ends with its context.
type ctxReader struct {
	ctx context.Context
	src io.Reader
}

func (r *ctxReader) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.src.Read(p)
}

// value decodes one sample into counts.
func (s sample) value(b []byte) float64 {
	le := binary.LittleEndian
	switch {
	case s.float && s.bytes == 8:
		return math.Float64frombits(le.Uint64(b))
	case s.float:
		return float64(math.Float32frombits(le.Uint32(b)))
	case s.bytes == 2:
		return float64(int16(le.Uint16(b)) >> s.shift)
	case s.bytes == 3:
		return float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24) >> (8 + s.shift))
	}
	return float64(int32(le.Uint32(b)) >> s.shift)
}

package picture

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	_ "image/png" // its header is read here
	"io"
	"regexp"

	"github.com/bep/imagemeta"
	_ "golang.org/x/image/webp" // likewise
)

// Facts are what the file says of itself.
type Facts struct {
	Media         string
	Width, Height int    // pixels as stored, before they are turned; 0: cannot be found out
	Orientation   int    // EXIF, 1 to 8; 1 when nothing is said
	CameraTime    string // "2026-03-02T10:00:00", with "+01:00" when the camera says its zone; "" for none
	Position      bool   // it says where it was taken
	bytes         int64  // of memory that drawing needs; 0: unknown
}

// Read finds out what a photo says of itself, by its header. What cannot be
// read is left out; only an error of the reader is an error.
func Read(r io.ReadSeeker) (f Facts, err error) {
	head := make([]byte, HeadBytes)
	n, err := io.ReadFull(r, head)
	if err != nil && err != io.ErrUnexpectedEOF && err != io.EOF {
		return f, err
	}
	f.Media, f.Orientation = TypeOf(head[:n]), 1
	f.size(r)
	f.tags(r)
	_, err = r.Seek(0, io.SeekStart)
	return f, err
}

// size finds the number of pixels and the memory that they take.
func (f *Facts) size(r io.ReadSeeker) {
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return
	}
	switch f.Media {
	case JPEG:
		w, h, quarters := jpegFrame(bufio.NewReader(r))
		f.Width, f.Height, f.bytes = w, h, int64(w)*int64(h)*quarters/4
	case PNG, WebP:
		c, _, err := image.DecodeConfig(r)
		if err != nil {
			return
		}
		f.Width, f.Height = c.Width, c.Height
		f.bytes = int64(c.Width) * int64(c.Height) * 2 * depth(c.ColorModel) // twice: passes of an interlaced one, or transforms
	}
}

// depth is how many bytes a decoded pixel takes.
func depth(m color.Model) int64 {
	switch m {
	case color.NRGBA64Model, color.RGBA64Model:
		return 8
	case color.GrayModel:
		return 1
	case color.Gray16Model:
		return 2
	}
	return 4
}

// jpegFrame reads the frame header of a JPEG file (ITU-T T.81, B.2.2): width,
// height, and quarters of a byte a pixel that decoding takes; zeros when there
// is none. Segments are passed over, and never more is read than stands before
// the first scan.
func jpegFrame(r *bufio.Reader) (w, h int, quarters int64) {
	if _, err := r.Discard(2); err != nil {
		return 0, 0, 0
	}
	for {
		marker, err := nextMarker(r)
		var size [2]byte
		if err == nil {
			_, err = io.ReadFull(r, size[:])
		}
		n := int(binary.BigEndian.Uint16(size[:])) - 2
		if err != nil || n < 0 || marker == 0xda {
			return 0, 0, 0
		}
		if marker < 0xc0 || marker > 0xcf || marker == 0xc4 || marker == 0xc8 || marker == 0xcc {
			if _, err := r.Discard(n); err != nil {
				return 0, 0, 0
			}
			continue
		}
		b := make([]byte, n)
		if _, err := io.ReadFull(r, b); err != nil || n < 6 || n < 6+3*int(b[5]) || b[5] == 0 {
			return 0, 0, 0
		}
		h, w = int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:]))
		return w, h, sampled(b[6:6+3*int(b[5])], marker == 0xc2)
	}
}

func nextMarker(r *bufio.Reader) (byte, error) {
	b, err := r.ReadByte()
	if err == nil && b != 0xff {
		err = fmt.Errorf("no marker but %#x", b)
	}
	for err == nil && b == 0xff {
		b, err = r.ReadByte()
	}
	return b, err
}

// sampled counts the quarters of a byte a pixel of components that are sampled
// differently; a progressive file is decoded over coefficients of four bytes
// each.
func sampled(components []byte, progressive bool) int64 {
	var area, most int64
	for i := 1; i < len(components); i += 3 {
		a := int64(max(components[i]>>4, 1)) * int64(max(components[i]&15, 1))
		area, most = area+a, max(most, a)
	}
	q := (4*area + most - 1) / most
	if progressive {
		q *= 5
	}
	if len(components) > 3 { // may be turned into a copy with four channels
		q += 16
	}
	return q
}

var exifTime = regexp.MustCompile(`^(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)`)
var exifZone = regexp.MustCompile(`^[+-]\d\d:\d\d$`)

// tags reads what the camera wrote beside the picture.
func (f *Facts) tags(r io.ReadSeeker) {
	format, ok := map[string]imagemeta.ImageFormat{JPEG: imagemeta.JPEG, PNG: imagemeta.PNG, WebP: imagemeta.WebP, HEIC: imagemeta.HEIF, AVIF: imagemeta.AVIF}[f.Media]
	if !ok {
		return
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return
	}
	var when, zone string
	wanted := map[string]bool{"Orientation": true, "DateTimeOriginal": true, "DateTime": true, "OffsetTimeOriginal": true, "GPSLatitude": true}
	// A fault in the tags leaves them out; the picture is there all the same.
	_, _ = imagemeta.Decode(imagemeta.Options{R: r, ImageFormat: format, Sources: imagemeta.EXIF,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool {
			return wanted[t.Tag] && (len(t.Namespace) < 4 || t.Namespace[:4] == "IFD0")
		},
		HandleTag: func(t imagemeta.TagInfo) error {
			text := fmt.Sprint(t.Value)
			switch t.Tag {
			case "Orientation":
				if v, ok := whole(t.Value); ok && v >= 1 && v <= 8 {
					f.Orientation = v
				}
			case "DateTimeOriginal":
				when = text
			case "DateTime":
				if when == "" {
					when = text
				}
			case "OffsetTimeOriginal":
				zone = text
			case "GPSLatitude":
				f.Position = true
			}
			return nil
		}})
	if m := exifTime.FindStringSubmatch(when); m != nil {
		f.CameraTime = m[1] + "-" + m[2] + "-" + m[3] + "T" + m[4]
		if exifZone.MatchString(zone) {
			f.CameraTime += zone
		}
	}
}

func whole(v any) (int, bool) {
	switch n := v.(type) {
	case uint16:
		return int(n), true
	case uint32:
		return int(n), n <= 8
	case int:
		return n, true
	}
	return 0, false
}

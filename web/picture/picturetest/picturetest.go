// Package picturetest makes photos for tests: with the tags that cameras write,
// cut short, or with more pixels than anybody can draw.
package picturetest

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"testing"
)

// Tags are what a camera writes beside the picture; zero values are left out.
type Tags struct {
	Orientation int
	Time, Zone  string // "2026:03:02 10:00:00", "+01:00"
	Position    bool
}

// Corners is a picture of w × h whose quarters, as somebody sees it who holds it
// upright, are red, green, blue and white from the upper left on by rows.
func Corners(w, h int) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.SetRGBA(x, y, [2][2]color.RGBA{{{R: 220, A: 255}, {G: 160, A: 255}}, {{B: 220, A: 255}, {R: 250, G: 250, B: 250, A: 255}}}[2*y/h][2*x/w])
		}
	}
	return m
}

// Stored gives the picture as a camera stores it that was held as an
// orientation says, after the table of EXIF 2.32, 4.6.5.1.6: rows and columns
// are filled by where the stored row 0 and column 0 are to be seen.
func Stored(seen *image.RGBA, orientation int) *image.RGBA {
	w, h := seen.Rect.Dx(), seen.Rect.Dy()
	// Where row 0 and column 0 of the stored picture are to be seen.
	row0 := [9]string{"", "top", "top", "bottom", "bottom", "left", "right", "right", "left"}[orientation]
	column0 := [9]string{"", "left", "right", "right", "left", "top", "top", "bottom", "bottom"}[orientation]
	size := image.Rect(0, 0, w, h)
	if orientation >= 5 {
		size = image.Rect(0, 0, h, w)
	}
	out := image.NewRGBA(size)
	for row := range size.Dy() {
		for column := range size.Dx() {
			var x, y int
			for side, n := range map[string]int{row0: row, column0: column} {
				switch side {
				case "top":
					y = n
				case "bottom":
					y = h - 1 - n
				case "left":
					x = n
				case "right":
					x = w - 1 - n
				}
			}
			out.Set(column, row, seen.At(x, y))
		}
	}
	return out
}

// JPEG encodes a picture with tags, and with as many bytes of padding as make
// it at least atLeast bytes long.
func JPEG(t testing.TB, m image.Image, tags Tags, atLeast int) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	plain := b.Bytes()
	out := append([]byte{0xff, 0xd8}, segment(0xe1, append([]byte("Exif\x00\x00"), tags.tiff()...))...)
	for len(out)+len(plain) < atLeast {
		out = append(out, segment(0xfe, make([]byte, 65000))...)
	}
	return append(out, plain[2:]...)
}

func segment(marker byte, body []byte) []byte {
	return append(binary.BigEndian.AppendUint16([]byte{0xff, marker}, uint16(len(body)+2)), body...)
}

// tiff writes the tags as TIFF 6.0 and EXIF 2.32 lay them out, big-endian.
func (t Tags) tiff() []byte {
	const head = 8
	type entry struct {
		tag, kind uint16
		n, value  uint32
		text      string
	}
	var first, exif, place []entry
	if t.Orientation != 0 {
		first = append(first, entry{tag: 0x0112, kind: 3, n: 1, value: uint32(t.Orientation) << 16})
	}
	text := func(tag uint16, s string) entry {
		return entry{tag: tag, kind: 2, n: uint32(len(s) + 1), text: s + "\x00"}
	}
	if t.Time != "" {
		exif = append(exif, text(0x9003, t.Time))
	}
	if t.Zone != "" {
		exif = append(exif, text(0x9011, t.Zone))
	}
	if t.Position {
		degrees := "\x00\x00\x00\x30\x00\x00\x00\x01\x00\x00\x00\x08\x00\x00\x00\x01\x00\x00\x00\x00\x00\x00\x00\x01"
		place = append(place, entry{tag: 1, kind: 2, n: 2, value: uint32('N') << 24}, entry{tag: 2, kind: 5, n: 3, text: degrees})
	}
	size := func(e []entry) int { return 2 + 12*len(e) + 4 }
	n := len(first)
	if exif != nil {
		n++
	}
	if place != nil {
		n++
	}
	at := head + 2 + 12*n + 4
	if exif != nil {
		first = append(first, entry{tag: 0x8769, kind: 4, n: 1, value: uint32(at)})
		at += size(exif)
	}
	if place != nil {
		first = append(first, entry{tag: 0x8825, kind: 4, n: 1, value: uint32(at)})
		at += size(place)
	}
	out, long := []byte("MM\x00\x2a\x00\x00\x00\x08"), []byte{}
	for _, dir := range [][]entry{first, exif, place} {
		if dir == nil {
			continue
		}
		out = binary.BigEndian.AppendUint16(out, uint16(len(dir)))
		for _, e := range dir {
			if e.text != "" {
				e.value = uint32(at + len(long))
				long = append(long, e.text...)
			}
			out = binary.BigEndian.AppendUint16(out, e.tag)
			out = binary.BigEndian.AppendUint16(out, e.kind)
			out = binary.BigEndian.AppendUint32(out, e.n)
			out = binary.BigEndian.AppendUint32(out, e.value)
		}
		out = append(out, 0, 0, 0, 0)
	}
	return append(out, long...)
}

// Bomb is a PNG of a few bytes that says it has w × h pixels.
func Bomb(w, h uint32) []byte {
	out := []byte("\x89PNG\r\n\x1a\n")
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32([]byte("IHDR"), w), h)
	for _, chunk := range [][]byte{append(head, 8, 6, 0, 0, 0), []byte("IDAT"), []byte("IEND")} {
		out = binary.BigEndian.AppendUint32(out, uint32(len(chunk)-4))
		out = append(out, chunk...)
		out = binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(chunk))
	}
	return out
}

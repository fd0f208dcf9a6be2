// Package picture draws photos for the screen. A photo's own bytes are evidence
// and are never changed; what a screen shows is a smaller copy, upright, without
// anything that the camera wrote beside the picture, kept outside of the records
// and made anew when it is gone. How much memory a photo needs is found out
// before it is decoded.
package picture

import "bytes"

// The types of photos that are taken.
const (
	JPEG = "image/jpeg"
	PNG  = "image/png"
	WebP = "image/webp"
	HEIC = "image/heic" // kept, cannot be drawn here
	AVIF = "image/avif" // kept, cannot be drawn here
)

// HeadBytes is how much of a file TypeOf looks at.
const HeadBytes = 64

// TypeOf finds the type by the first bytes, whatever the file is called; "" for
// what is no photo.
func TypeOf(head []byte) string {
	switch {
	case bytes.HasPrefix(head, []byte("\xff\xd8\xff")):
		return JPEG
	case bytes.HasPrefix(head, []byte("\x89PNG\r\n\x1a\n")):
		return PNG
	case len(head) >= 12 && string(head[:4]) == "RIFF" && string(head[8:12]) == "WEBP":
		return WebP
	case len(head) >= 12 && string(head[4:8]) == "ftyp":
		return boxType(head[8:])
	}
	return ""
}

// boxType reads the brands of an ISO base media file (ISO/IEC 23008-12 names
// those of still pictures).
func boxType(brands []byte) string {
	for i := 0; i+4 <= len(brands); i += 4 {
		switch string(brands[i : i+4]) {
		case "heic", "heix", "heim", "heis", "hevc", "hevx":
			return HEIC
		case "avif", "avis":
			return AVIF
		}
	}
	return ""
}

// Name says in words what a type is.
func Name(media string) string {
	switch media {
	case JPEG:
		return "JPEG"
	case PNG:
		return "PNG"
	case WebP:
		return "WebP"
	case HEIC:
		return "HEIC"
	case AVIF:
		return "AVIF"
	}
	return "a file of unknown type"
}

package picture

import (
	"io"
	"net/http"
	"strconv"
	"time"
)

// sandbox keeps a browser from running anything that hides in a photo.
const sandbox = "default-src 'none'; sandbox; frame-ancestors 'none'"

// ServeCopy answers with a drawn copy.
func ServeCopy(w http.ResponseWriter, b []byte) error {
	h := w.Header()
	h.Set("Content-Type", JPEG)
	h.Set("Content-Security-Policy", sandbox)
	h.Set("Content-Disposition", "inline")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Cache-Control", "private, max-age=86400") // who signs out may still have it for a day
	h.Set("Content-Length", strconv.Itoa(len(b)))
	_, err := w.Write(b)
	return err
}

// ServeOriginal answers with the bytes as they came; disposition has the browser
// save them.
func ServeOriginal(w http.ResponseWriter, r *http.Request, disposition, media string, f io.ReadSeeker) {
	h := w.Header()
	if media == "" {
		media = "application/octet-stream"
	}
	h.Set("Content-Type", media)
	h.Set("Content-Security-Policy", sandbox)
	h.Set("Content-Disposition", disposition)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Cache-Control", "private, no-store")
	http.ServeContent(w, r, "", time.Time{}, f)
}

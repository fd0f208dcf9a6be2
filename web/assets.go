// Package web carries what the pages need beside their HTML: the style sheet
// and, when it was built with Node, the bundled script with the chart library.
// All of it is inside the binary; no page asks any other origin for anything.
package web

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"
)

//go:embed all:dist
var dist embed.FS

//go:embed style.css
var style []byte

// Prefix is where the assets are served.
const Prefix = "/assets/"

// Set is the assets under names that contain a hash of their content, so that
// a browser may keep them for ever.
type Set struct {
	urls     map[string]string // "style.css" -> "/assets/style-1a2b3c4d5e6f.css"
	content  map[string][]byte // by served path
	licences []Licence
}

// Licence is the notice of a library that is inside the binary.
type Licence struct {
	Name string // of the library, as "uplot 1.6.32"
	Text string
}

// Assets returns the embedded set. It is read once.
var Assets = sync.OnceValue(func() *Set { return NewSet(dist, style) })

// NewSet makes a set from a style sheet and a folder that has, under "dist",
// what the bundler wrote: app.js, app.css and the notices in licences/*.txt.
// Any of these may be missing.
func NewSet(bundle fs.FS, style []byte) *Set {
	s := &Set{urls: map[string]string{}, content: map[string][]byte{}}
	s.add("style.css", style)
	for _, name := range []string{"app.js", "app.css"} {
		if b, err := fs.ReadFile(bundle, "dist/"+name); err == nil {
			s.add(name, b)
		}
	}
	notices, _ := fs.Glob(bundle, "dist/licences/*.txt") // fails only on a malformed pattern
	for _, file := range notices {
		if b, err := fs.ReadFile(bundle, file); err == nil {
			name := strings.TrimSuffix(path.Base(file), ".txt")
			s.licences = append(s.licences, Licence{Name: strings.ReplaceAll(name, "__", "/"), Text: string(b)})
		}
	}
	slices.SortFunc(s.licences, func(a, b Licence) int { return strings.Compare(a.Name, b.Name) })
	return s
}

func (s *Set) add(name string, b []byte) {
	sum := sha256.Sum256(b)
	ext := path.Ext(name)
	served := Prefix + strings.TrimSuffix(name, ext) + "-" + hex.EncodeToString(sum[:6]) + ext
	s.urls[name] = served
	s.content[served] = b
}

// URL is the path to put into a page for name ("style.css", "app.js",
// "app.css"), empty when the binary does not carry it.
func (s *Set) URL(name string) string { return s.urls[name] }

// Built tells whether the script was bundled into this binary. Without it the
// pages show the static traces.
func (s *Set) Built() bool { return s.urls["app.js"] != "" }

// Licences are the notices that were collected when the script was bundled.
func (s *Set) Licences() []Licence { return slices.Clone(s.licences) }

// ServeHTTP answers GET and HEAD below Prefix.
func (s *Set) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	b, ok := s.content[r.URL.Path]
	if !ok {
		http.Error(w, "no such asset; reload the page to get the names of this version", http.StatusNotFound)
		return
	}
	h := w.Header()
	h.Set("Content-Type", contentType(r.URL.Path))
	h.Set("Content-Length", strconv.Itoa(len(b)))
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	if r.Method == http.MethodHead {
		return
	}
	_, _ = w.Write(b) // fails only when the reader went away, who needs no answer
}

// contentType does not ask the machine's own table, which may differ.
func contentType(name string) string {
	switch path.Ext(name) {
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	default:
		return "application/octet-stream"
	}
}

package web_test

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"

	"thudbook/web"
)

// A name holds the hash of what is served under it, so that it may be kept for
// ever; nothing in the style sheets points elsewhere.
func TestNamesHoldTheContent(t *testing.T) {
	s := web.Assets()
	if !s.Built() {
		t.Fatal("the script is not bundled; run make assets")
	}
	for _, name := range []string{"style.css", "app.css", "app.js"} {
		url := s.URL(name)
		w := httptest.NewRecorder()
		s.ServeHTTP(w, httptest.NewRequest("GET", url, nil))
		sum := sha256.Sum256(w.Body.Bytes())
		if w.Code != 200 || !strings.Contains(url, hex.EncodeToString(sum[:6])) {
			t.Errorf("%s: %d under %s", name, w.Code, url)
		}
		if body := w.Body.String(); strings.HasSuffix(name, ".css") && (strings.Contains(body, "url(") || strings.Contains(body, "@import")) {
			t.Errorf("%s asks for something else", name)
		}
	}
	chart := false
	for _, l := range s.Licences() {
		chart = chart || strings.HasPrefix(l.Name, "uPlot ") && strings.Contains(l.Text, "Permission is hereby granted")
	}
	if !chart {
		t.Error("the chart library's notice is not among the licences")
	}
}

// A binary that was built without Node serves its style and knows that the
// script is missing; the pages ask it.
func TestWithoutBundle(t *testing.T) {
	s := web.NewSet(fstest.MapFS{"dist/.keep": {}}, []byte("body{}"))
	if s.Built() || s.URL("app.js") != "" || s.URL("style.css") == "" || len(s.Licences()) != 0 {
		t.Errorf("built %v, app.js %q, style %q", s.Built(), s.URL("app.js"), s.URL("style.css"))
	}
}

// Modules' names have slashes, which file names have not.
func TestLicenceNames(t *testing.T) {
	s := web.NewSet(fstest.MapFS{"dist/licences/go.example__m v1.txt": {Data: []byte("text")}}, nil)
	if l := s.Licences(); len(l) != 1 || l[0] != (web.Licence{Name: "go.example/m v1", Text: "text"}) {
		t.Errorf("%v", l)
	}
}

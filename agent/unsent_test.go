package agent_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

// What was typed before anybody had signed in is not lost: after the PIN it is shown,
// and one tap sends it, as the person who signed in. It is kept for that screen alone.
func TestTypedBeforeSigningIn(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	id := r.hit("FG-01", 80)
	r.saved("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"4711"}})
	wilma := regexp.MustCompile(`href="(/people/[0-9a-f-]{36})"[^>]*>Wilma Quill`).FindStringSubmatch(r.page("/people"))[1]
	r.saved("/people/out", nil)
	path := "/shots/" + id + "/correct"
	v := fields(t, r.page("/shots/"+id), path)
	v.Set("kind", "shot")
	v.Set("specimen", "FG-77")
	a := r.form(path, v)
	if a.status != http.StatusUnauthorized || !strings.Contains(a.body, "What you typed is kept") || !strings.Contains(a.body, "next=%2Fpeople%2Funsent") {
		t.Fatalf("typed with nobody signed in = %d\n%s", a.status, a.body)
	}
	if a := r.get("/people/unsent"); a.status != http.StatusSeeOther {
		t.Errorf("shown to who has not signed in = %d", a.status)
	}
	r.send(wilma, url.Values{"pin": {"4711"}, "next": {"/people/unsent"}}, "/people/unsent")
	if strings.Contains(r.page("/shots/"+id), "FG-77") {
		t.Error("signing in sent the form")
	}
	r.send(path, fields(t, r.page("/people/unsent", "FG-77", "is not saved yet"), path), "/shots/"+id)
	b := r.page("/shots/"+id, "FG-77")
	history := b[strings.Index(b, `id="h-history"`):]
	if row := regexp.MustCompile(`<td>Wilma Quill</td><th scope="row">Specimen`).FindString(history); row == "" {
		t.Errorf("it is not recorded as hers: %.1500s", history)
	}
	if a := r.get("/people/unsent"); a.status != http.StatusSeeOther {
		t.Errorf("it is kept after it was sent: %d", a.status)
	}
}

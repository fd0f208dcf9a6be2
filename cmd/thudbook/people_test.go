package main

import (
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestPeopleReachTheRig: a manager adds a person on the server, who signs in at
// the rig with the network cut; the server names the person; withdrawn there,
// the person is signed out at the rig.
func TestPeopleReachTheRig(t *testing.T) {
	lab := newLabOnServer(t, "Lab of people")
	server, admin, cable := lab.server, lab.admin, lab.cable
	watch := t.TempDir()
	agent := start(t, "agent", "--data", t.TempDir(), "--watch", watch, "--listen", "127.0.0.1:0", "--sync-every", "100ms",
		"--server", "http://"+cable.addr(), "--code", lab.code)

	plain := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	form := func(c *http.Client, to string, v url.Values) (int, string) {
		t.Helper()
		res, err := c.PostForm(to, v)
		if err != nil {
			t.Fatal(err)
		}
		return res.StatusCode, body(t, res)
	}
	read := func(c *http.Client, from string) string {
		t.Helper()
		res, err := c.Get(from)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}

	if status, text := form(admin.http, server.url("/people/add"), url.Values{"lab": {lab.id.String()}, "name": {"Wilma Quill"}, "pin": {"4711"}}); status != http.StatusSeeOther {
		t.Fatalf("add on the server = %d %s", status, text)
	}
	name := regexp.MustCompile(`href="(/people/([0-9a-f-]{36}))"[^>]*>Wilma Quill`)
	var m []string
	waitFor(t, "the name at the rig", func() bool { m = name.FindStringSubmatch(read(plain, agent.url("/people"))); return m != nil })
	cable.set(false)
	if status, text := form(plain, agent.url(m[1]), url.Values{"pin": {"4711"}}); status != http.StatusSeeOther {
		t.Fatalf("sign-in at the rig = %d %s", status, text)
	}
	if status, _ := form(plain, agent.url("/people/add"), url.Values{"name": {"Carl Dune"}, "pin": {"9182"}}); status != http.StatusForbidden {
		t.Errorf("the rig changes a list that the server keeps: %d", status)
	}
	if err := os.WriteFile(filepath.Join(watch, "one.csv"), shotBytes(1), 0o644); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "the shot at the rig", func() bool { return len(shotIDs(t, plain, agent.url("/api/v1/shots"))) == 1 })
	shot := shotIDs(t, plain, agent.url("/api/v1/shots"))[0]
	if status, text := form(plain, agent.url("/shots/"+shot+"/assign"), url.Values{"kind": {"shot"}, "specimen": {"H-7"}}); status != http.StatusSeeOther {
		t.Fatalf("assign = %d %s", status, text)
	}
	cable.set(true)
	waitFor(t, "the person's name on the server", func() bool {
		page := read(admin.http, server.url("/shots/"+shot))
		return strings.Contains(page, "while Wilma Quill was signed in") && strings.Contains(page, "<td>Wilma Quill</td>")
	})
	if status, text := form(admin.http, server.url("/people/off"), url.Values{"lab": {lab.id.String()}, "person": {m[2]}, "reason": {"left the lab"}}); status != http.StatusSeeOther {
		t.Fatalf("withdraw = %d %s", status, text)
	}
	waitFor(t, "the person signed out at the rig", func() bool { return strings.Contains(read(plain, agent.url("/")), "taken off the list") })
}

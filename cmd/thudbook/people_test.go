package main

import (
	"bytes"
	"errors"
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
	watch, data := t.TempDir(), t.TempDir()
	agent := start(t, "agent", "--data", data, "--watch", watch, "--listen", "127.0.0.1:0", "--sync-every", "100ms",
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
	wantRun(t, exitUsage, "the list of people is kept on the server", "new-pin", "--data", data, "--name", "Wilma Quill")
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

	// Erased on the server: the name goes from both folders, and what was done stays.
	erase := url.Values{"lab": {lab.id.String()}, "person": {m[2]}, "reason": {"asked for it"}, "confirm": {"Wilma Quilt"}}
	if status, text := form(admin.http, server.url("/people/erase"), erase); status != http.StatusUnprocessableEntity {
		t.Fatalf("erase under another name = %d %s", status, text)
	}
	for _, folder := range []string{lab.data, data} {
		if named(t, folder, "Wilma Quill") == "" {
			t.Errorf("before it is erased the name is in no file of %s: the search finds nothing", filepath.Base(folder))
		}
	}
	erase.Set("confirm", "Wilma Quill")
	if status, text := form(admin.http, server.url("/people/erase"), erase); status != http.StatusSeeOther {
		t.Fatalf("erase = %d %s", status, text)
	}
	for _, folder := range []string{lab.data, data} {
		waitFor(t, "the name gone", func() bool { return named(t, folder, "Wilma Quill") == "" })
	}
	waitFor(t, "the shot with an erased person at the rig", func() bool { return strings.Contains(read(plain, agent.url("/shots/"+shot)), "erased person") })
	if page := read(admin.http, server.url("/shots/"+shot)); !strings.Contains(page, "erased person") || strings.Contains(page, "Wilma") {
		t.Error("on the server the shot does not say that the person was erased, or names her")
	}
	if err := os.WriteFile(filepath.Join(watch, "two.csv"), shotBytes(2), 0o644); err != nil { // the exchange goes on
		t.Fatal(err)
	}
	waitFor(t, "the next shot on the server", func() bool { return len(shotIDs(t, admin.http, server.url("/api/v1/shots"))) == 2 })
	for _, p := range []*process{agent, server} {
		p.stop()
	}
	for _, folder := range []string{lab.data, data} {
		var out, errOut bytes.Buffer
		if code := run(t.Context(), []string{"verify", "--data", folder}, &out, &errOut); code != exitOK {
			t.Errorf("verify = %d: %s %s", code, &out, &errOut)
		}
		if at := named(t, folder, "Wilma Quill"); at != "" {
			t.Errorf("the name is back in %s", at)
		}
	}
}

// named gives the first attachment of a data folder that holds a text; "" for none.
func named(t *testing.T, folder, text string) (found string) {
	t.Helper()
	err := filepath.WalkDir(folder, func(path string, e os.DirEntry, err error) error {
		if errors.Is(err, os.ErrNotExist) || e.IsDir() { // a file that is on its way
			return nil
		}
		if err != nil {
			return err
		}
		b, err := os.ReadFile(path)
		if err == nil && bytes.Contains(b, []byte(text)) {
			found = path
		}
		if errors.Is(err, os.ErrNotExist) {
			err = nil
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

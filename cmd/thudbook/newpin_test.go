package main

import (
	"io"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The one person on the list of a rig without a server has forgotten the PIN:
// nobody can record anything, until the owner of the data folder has a new one made.
func TestForgottenPIN(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	a := start(t, "agent", "--data", data, "--listen", "127.0.0.1:0")
	plain := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	send := func(path string, v url.Values) int {
		t.Helper()
		res, err := plain.PostForm(a.url(path), v)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		if _, err := io.Copy(io.Discard, res.Body); err != nil {
			t.Fatal(err)
		}
		return res.StatusCode
	}
	send("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"4711"}})
	send("/people/out", nil)
	res, err := plain.Get(a.url("/people"))
	if err != nil {
		t.Fatal(err)
	}
	who := regexp.MustCompile(`/people/[0-9a-f-]{36}`).FindString(body(t, res))
	if who == "" {
		t.Fatal("she is not on the list")
	}
	wantRun(t, exitUsage, "nobody of that name is on the list", "new-pin", "--data", data, "--name", "Carl Dune")
	out, errOut, code := thudbook(t.Context(), t, "new-pin", "--data", data, "--name", "wilma  quill")
	pin := regexp.MustCompile(`The PIN of Wilma Quill is now (\d{6})\.`).FindStringSubmatch(out)
	if code != exitOK || pin == nil {
		t.Fatalf("exit code %d: %s%s", code, out, errOut)
	}
	if send(who, url.Values{"pin": {"4711"}}) == http.StatusSeeOther {
		t.Error("the old PIN is taken")
	}
	if got := send(who, url.Values{"pin": {pin[1]}}); got != http.StatusSeeOther {
		t.Errorf("the new PIN = %d", got)
	}
	a.stop()
	if strings.Contains(a.out.String(), pin[1]) {
		t.Error("the PIN stands in the log")
	}
	wantRun(t, exitUsage, "no running agent has this folder open", "new-pin", "--data", data, "--name", "Wilma Quill")
}

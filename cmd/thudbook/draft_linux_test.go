package main

import (
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// The program is killed, as by a power cut, in the middle of an inspection: the
// shot and the draft that was confirmed as kept are there after the restart, and
// the first screen leads back to it.
func TestKilledDuringAnInspection(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	args := []string{"agent", "--data", data, "--listen", "127.0.0.1:0", "--reserve-mb", "1"}
	a := start(t, args...)
	id, said, err := tryPost("http://"+a.addr, 1)
	if err != nil || id == "" {
		t.Fatalf("post: %v %s", err, said)
	}
	post := func(path string, v url.Values, accept string) (int, string) {
		t.Helper()
		req, err := http.NewRequest(http.MethodPost, a.url(path), strings.NewReader(v.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		req.Header.Set("Origin", "http://"+a.addr)
		req.Header.Set("Accept", accept)
		client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		res, err := client.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return res.StatusCode, string(b)
	}
	get := func(path string) string {
		t.Helper()
		res, err := http.Get(a.url(path))
		if err != nil {
			t.Fatal(err)
		}
		return body(t, res)
	}
	if status, b := post("/shots/"+id+"/assign", url.Values{"kind": {"shot"}, "specimen": {"H-9"}, "location": {"front"}, "target_speed_m_s": {"5"}}, "text/html"); status != http.StatusSeeOther {
		t.Fatalf("assign = %d %s", status, b)
	}
	path := "/shots/" + id + "/inspect"
	uid := regexp.MustCompile(`name="inspection" value="([0-9a-f-]{36})"`).FindStringSubmatch(get(path))[1]
	v := url.Values{"inspection": {uid}, "effective_at": {time.Now().Format("2006-01-02T15:04:05")}, "weld_note": {"hairline crack, left"}, "shell_grade": {"marked"}}
	status, b := post(path+"/draft", v, "application/json")
	var kept map[string]any
	if err := json.Unmarshal([]byte(b), &kept); err != nil || status != http.StatusOK {
		t.Fatalf("draft = %d %s", status, b)
	}
	a.kill()

	a = start(t, args...)
	if first := get("/"); !strings.Contains(first, "An inspection of H-9 was begun") || !strings.Contains(first, `href="`+path+`"`) {
		t.Error("the first screen does not lead back to the inspection")
	}
	if form := get(path); !strings.Contains(form, "hairline crack, left") || !strings.Contains(form, uid) || !regexp.MustCompile(`name="shell_grade" value="marked" checked`).MatchString(form) {
		t.Error("the draft that was confirmed is not whole")
	}
	v.Set("verdict", "passed")
	if status, b := post(path, v, "text/html"); status != http.StatusSeeOther {
		t.Fatalf("record = %d %s", status, b)
	}
	if strings.Contains(get("/"), "was begun") {
		t.Error("recorded, the draft still waits")
	}
}

package main

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"thudbook/web/browsertest"
	"thudbook/web/picture/picturetest"
)

// Photos that are taken while the agent is dead wait in the browser's database, over
// another tab and the end of the browser, and are stored once each when it runs again.
func TestPhotosWaitForTheAgent(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	a := start(t, "agent", "--data", data, "--listen", "127.0.0.1:0", "--reserve-mb", "1")
	at := a.addr
	id, said, err := tryPost("http://"+at, 1)
	if err != nil || id == "" {
		t.Fatalf("post: %v %s", err, said)
	}
	dir, profile := t.TempDir(), mustTemp(t)
	var files, sums []string
	for i := range 3 {
		b := picturetest.JPEG(t, picturetest.Corners(200+10*i, 150), picturetest.Tags{}, 200_000)
		files = append(files, filepath.Join(dir, fmt.Sprintf("photo %d.jpg", i)))
		sums = append(sums, fmt.Sprintf("%x", sha256.Sum256(b)))
		if err := os.WriteFile(files[i], b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	path := "/shots/" + id
	open := func(b *browsertest.Browser) *browsertest.Tab {
		t.Helper()
		tab := b.Tab(t, "http://"+at)
		tab.Look(browsertest.Phone)
		tab.Allow("net::ERR_") // the agent is dead
		tab.Allow("the server responded with a status of 401")
		tab.Allow("the server responded with a status of 422")
		tab.Open(path)
		return tab
	}
	choose := func(tab *browsertest.Tab, files ...string) {
		t.Helper()
		if err := chromedp.Do(tab.Ctx, chromedp.SetUploadFiles(chromedp.CSS(`#photo`), files)); err != nil {
			t.Fatal(err)
		}
	}
	waits := func(words string) string {
		return fmt.Sprintf(`(document.getElementById("queue")?.innerText || "").includes(%q)`, words)
	}
	browser := browsertest.In(t, profile)
	one, two := open(browser), open(browser)
	a.kill()
	choose(one, files[0], files[1])
	one.Wait(waits("2 photos wait on this device"))
	one.Wait(waits("The agent does not answer"))
	if n := one.Sideways(); n > 0 {
		t.Errorf("%d px of sideways scroll", n)
	}
	choose(two, files[1], files[2]) // one of them is there already
	two.Wait(waits("3 photos wait on this device"))
	browser.Kill()

	a = start(t, "agent", "--data", data, "--listen", at, "--reserve-mb", "1")
	browser = browsertest.In(t, profile)
	one, two = open(browser), open(browser)
	for _, tab := range []*browsertest.Tab{one, two} {
		tab.Wait(`document.getElementById("queue")?.hidden === true`)
	}
	stored := func() (all []string) {
		res, err := http.Get(a.url("/api/v1" + path + "/photos"))
		if err != nil {
			t.Fatal(err)
		}
		var got struct {
			Photos []struct {
				SHA256 string `json:"sha256"`
			} `json:"photos"`
		}
		if err := json.Unmarshal([]byte(body(t, res)), &got); err != nil {
			t.Fatal(err)
		}
		for _, p := range got.Photos {
			all = append(all, p.SHA256)
		}
		slices.Sort(all)
		return all
	}
	want := slices.Sorted(slices.Values(sums))
	if got := stored(); !slices.Equal(got, want) {
		t.Errorf("stored are %v, not %v", got, want)
	}
	one.Wait(`document.querySelectorAll("#photos > .photos li").length === 3`)

	// With the agent running a photo is stored at once, without leaving the page.
	more := filepath.Join(dir, "more.jpg")
	b := picturetest.JPEG(t, picturetest.Corners(300, 200), picturetest.Tags{}, 0)
	if err := os.WriteFile(more, b, 0o600); err != nil {
		t.Fatal(err)
	}
	choose(one, more)
	one.Wait(`document.querySelectorAll("#photos > .photos li").length === 4`)

	// What is no photo is refused for good, and a person deletes it.
	text := filepath.Join(dir, "note.jpg")
	if err := os.WriteFile(text, []byte("no photo at all"), 0o600); err != nil {
		t.Fatal(err)
	}
	choose(one, text)
	one.Wait(waits("is no photo that is known here"))
	if text := browsertest.Eval[string](one, `document.getElementById("queue").textContent`); !strings.Contains(text, "1 file was refused and was not stored") || strings.Contains(text, "waits") {
		t.Errorf("of a file that was refused it says %q", text)
	}
	for _, v := range one.Axe("../../web/node_modules/axe-core/axe.min.js") {
		t.Error(v)
	}
	browsertest.Eval[bool](one, `[...document.querySelectorAll("#queue button")].find((b) => b.textContent === "Delete it here").click() === undefined`)
	one.Wait(`document.getElementById("queue").hidden`)

	// Nobody is signed in: it says so, keeps the photo, and sends it afterwards.
	post := func(to string, v url.Values) string {
		t.Helper()
		res, err := http.PostForm(a.url(to), v)
		if err != nil {
			t.Fatal(err)
		}
		return body(t, res)
	}
	who := regexp.MustCompile(`/people/[0-9a-f-]{36}`).FindString(post("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"4711"}}))
	post("/people/out", nil)
	last := filepath.Join(dir, "last.jpg")
	if err := os.WriteFile(last, picturetest.JPEG(t, picturetest.Corners(310, 200), picturetest.Tags{}, 0), 0o600); err != nil {
		t.Fatal(err)
	}
	choose(one, last)
	one.Wait(waits("nobody has signed in here"))
	one.Wait(`[...document.querySelectorAll("#queue a")].some((a) => a.textContent === "Sign in")`)
	post(who, url.Values{"pin": {"4711"}})
	one.Wait(`document.getElementById("queue").hidden`) // by itself
	if got := stored(); len(got) != 5 {
		t.Errorf("%d photos are stored", len(got))
	}
	one.Check()
	two.Check()
	if strings.Contains(a.out.String(), "panic") {
		t.Error(a.out)
	}
}

// mustTemp is a folder that a browser may still write to when the test ends.
func mustTemp(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "profile")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

package server_test

import (
	"context"
	"net/url"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thudbook/sync/lab"
	"thudbook/web/browsertest"
)

// Labels drawn in a real browser are read by another program (zbarimg), and lead
// to the pages of the items that they were made for, by way of the sign-in.
func TestLabelsInBrowser(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Alder", 1)
	base := "/api/v1/labs/" + s.id.String()
	ram := s.manager.make(base+"/items", lab.Item{Class: lab.ClassRam, Serial: "R-1", Name: "ram A", AssetNumber: "4711"})
	pad := s.manager.make(base+"/items", lab.Item{Class: lab.ClassReferencePad, Serial: "P-1", Name: "pad"})
	s.manager.make(base+"/items", lab.Item{Class: lab.ClassNeck, Serial: "N-1", Name: "neck"})

	tab := browsertest.New(t).Tab(t, w.url)
	tab.Look(browsertest.Desktop)
	tab.Open("/signin?" + url.Values{"next": {"/equipment/labels?item=" + ram.String() + "&item=" + pad.String()}}.Encode())
	tab.Do(chromedp.SendKeys(chromedp.CSS(`input[name="name"]`), "alder.manager"))
	ctx, stop := context.WithTimeout(tab.Ctx, time.Minute)
	defer stop()
	if _, err := chromedp.RunResponse(ctx, chromedp.SendKeys(chromedp.CSS(`input[name="password"]`), "a long password of Alder"+kb.Enter)); err != nil {
		t.Fatal(err)
	}
	tab.Wait(`document.querySelectorAll(".label").length === 2 && document.body.innerText.includes("4711")`)
	for _, v := range tab.Axe("../web/node_modules/axe-core/axe.min.js") {
		t.Error(v)
	}
	dir := t.TempDir()
	tab.Picture(dir, "labels")
	out, err := exec.Command("zbarimg", "--quiet", "--raw", filepath.Join(dir, "labels.png")).Output()
	got := strings.Fields(string(out))
	slices.Sort(got)
	want := []string{w.url + "/equipment/use/" + ram.String(), w.url + "/equipment/use/" + pad.String()}
	slices.Sort(want)
	if err != nil || !slices.Equal(got, want) {
		t.Fatalf("zbarimg (make test-tools installs it) reads %q, want %q: %v", got, want, err)
	}
	for _, address := range got {
		path := strings.TrimPrefix(address, w.url)
		if a := s.operator.get(path); a.status != 200 || !strings.Contains(a.body, "Serial") && !strings.Contains(a.body, "Strokes in all") {
			t.Errorf("%s answers %d", path, a.status)
		}
		if a := w.stranger().get(path); a.status != 303 || !strings.Contains(a.header.Get("Location"), "/signin") {
			t.Errorf("a stranger gets %d, %s", a.status, a.header.Get("Location"))
		}
	}
}

package server_test

import (
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	cdpage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/google/uuid"

	"thudbook/server"
	"thudbook/sync/lab"
	"thudbook/web/browsertest"
)

// printed prints what a tab shows on A4 and gives its pages as pictures of
// 200 dots per inch, and its text (poppler's programs).
func printed(t *testing.T, tab *browsertest.Tab) (pictures []string, text string) {
	t.Helper()
	yes := true
	res, err := chromedp.Call(tab.Ctx, cdpage.PrintToPDF, cdpage.PrintToPDFParams{PreferCSSPageSize: &yes})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "sheet.pdf")
	if err := os.WriteFile(file, res.Data, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.CommandContext(t.Context(), "pdftoppm", "-r", "200", "-png", file, filepath.Join(dir, "page")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm (make test-tools installs it): %v %s", err, out)
	}
	out, err := exec.CommandContext(t.Context(), "pdftotext", file, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext: %v", err)
	}
	pictures, err = filepath.Glob(filepath.Join(dir, "page*.png"))
	if err != nil {
		t.Fatal(err)
	}
	return pictures, string(out)
}

// tab is a browser in which the operator of a lab has signed in.
func (w *world) tab(marker string) *browsertest.Tab {
	w.t.Helper()
	tab := browsertest.New(w.t).Tab(w.t, w.url)
	tab.Look(browsertest.Desktop)
	tab.Open("/signin")
	tab.Do(chromedp.SendKeys(chromedp.CSS(`input[name="name"]`), strings.ToLower(marker)+".operator"))
	tab.Leave(`input[name="password"]`, "a long password of "+marker+kb.Enter)
	tab.Wait(`document.querySelector('nav a[href="/equipment"]') !== null`)
	return tab
}

// What the screen warns of is not printed on labels; what is filled in by hand on
// the sheet of an order stays on one page, wherever it comes to lie.
func TestSheets(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Rowan", 1)
	tab := w.tab("Rowan")
	tab.Open("/equipment/labels?item=" + s.Ram.String())
	tab.Wait(`document.querySelectorAll(".labels li").length === 1 && document.body.innerText.includes("was not told its public address")`)
	if pictures, text := printed(t, tab); len(pictures) != 1 || strings.Contains(text, "public address") || strings.Contains(text, "Labels") {
		t.Errorf("a label on %d pages: %q", len(pictures), text)
	}
	for lines := range 5 {
		parts := make([]lab.Part, 4+6*lines)
		for i := range parts {
			parts[i] = lab.Part{Name: fmt.Sprintf("part %d", i), Quantity: 1}
		}
		id := s.manager.make("/api/v1/labs/"+s.id.String()+"/work-orders?confirmed=yes", map[string]any{"item": s.Ram, "what": "service", "parts": parts})
		tab.Open("/equipment/orders/" + id.String() + "/sheet")
		tab.Wait(`document.getElementById("h-hand") !== null`)
		_, text := printed(t, tab)
		for _, p := range strings.Split(text, "\f") { // pdftotext ends each page so
			if strings.Contains(p, "Filled in by hand") != strings.Contains(p, "Signature") {
				t.Errorf("%d parts: what is filled in by hand lies on two pages:\n%s", len(parts), text)
			}
		}
	}
}

// Labels are chosen and printed in a real browser; another program (zbarimg)
// reads the codes off the paper, and each opens the page of its own item.
func TestLabels(t *testing.T) {
	t.Parallel()
	const address = "https://thudbook.example"
	w := startWith(t, func(o *server.Options) { o.PublicURL = address + "/" })
	s := w.open("Rowan", 1)
	other := w.open("Alder", 1)
	base := "/api/v1/labs/" + s.id.String()
	want := map[string]string{} // serial by address
	for i := range 20 {
		serial := fmt.Sprintf("NK-%02d", i)
		id := s.manager.make(base+"/items", lab.Item{Class: "neck", Serial: serial, Name: "neck “" + strings.Repeat("long ", 12*(i%2)) + "”", AssetNumber: fmt.Sprintf("A-%04d", i)})
		want[address+"/equipment/use/"+id.String()] = serial
	}

	tab := w.tab("Rowan")
	tab.Open("/equipment/labels")
	tab.Wait(`document.querySelectorAll(".picks input").length >= 20 && document.querySelector(".labels") === null`)
	if n := browsertest.Eval[int](tab, `[...document.querySelectorAll(".picks li")].filter(li => li.innerText.includes("NK-")).map(li => li.querySelector("input").checked = true).length`); n != 20 {
		t.Fatalf("%d necks are listed, want 20", n)
	}
	tab.Leave(`.picks input`, kb.Enter)
	tab.Wait(`document.querySelectorAll(".labels li").length === 20`)

	pictures, text := printed(t, tab)
	if len(pictures) < 2 {
		t.Errorf("20 labels on %d pages, want at least 2", len(pictures))
	}
	got := map[string]int{}
	for _, p := range pictures {
		out, err := exec.CommandContext(t.Context(), "zbarimg", "--quiet", "--raw", p).Output()
		if err != nil {
			t.Fatalf("zbarimg (make test-tools installs it) reads no code off %s: %v", filepath.Base(p), err)
		}
		for _, line := range strings.Fields(string(out)) {
			got[line]++
		}
	}
	for link, serial := range want {
		if got[link] != 1 {
			t.Errorf("the code of %s was read %d times, want once", serial, got[link])
		}
		for _, on := range []string{serial, "A-00" + serial[3:]} {
			if !strings.Contains(text, on) {
				t.Errorf("the paper lacks %q", on)
			}
		}
		if a := s.operator.get(strings.TrimPrefix(link, address)).want(t, 200, "the page of a code"); !strings.Contains(a.body, serial) {
			t.Errorf("the code of %s opens another page", serial)
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d different codes on the paper, want %d", len(got), len(want))
	}
	for _, not := range []string{"Choose items", "never fires a ram", "rowan.operator", "Test server"} {
		if strings.Contains(text, not) {
			t.Errorf("the sheet of labels has %q on it too", not)
		}
	}

	// What is wrong is said, and nothing of another lab is shown.
	var ids []string
	for link := range want {
		ids = append(ids, strings.TrimPrefix(link, address+"/equipment/use/"))
	}
	slices.Sort(ids)
	path := "/equipment/labels?" + url.Values{"item": {ids[0], ids[0]}}.Encode()
	if a := s.operator.get(path).want(t, 200, "an item named twice"); strings.Count(a.body, `class="code"`) != 1 {
		t.Errorf("an item named twice has %d labels, want one", strings.Count(a.body, `class="code"`))
	}
	other.manager.get(path).want(t, 404, "another lab's item")
	s.operator.get("/equipment/labels?item=NK-01").want(t, 404, "a serial number in place of an id")
	s.operator.get("/equipment/labels?item="+uuid.NewString()).want(t, 404, "an item that is not there")
	w.stranger().get(path).want(t, 303, "a stranger")
	if a := s.operator.get(path); strings.Contains(a.body, "was not told its public address") {
		t.Error("warns of an address that it was told")
	}
	for i := range 120 {
		s.manager.make(base+"/items", lab.Item{Class: "hose", Serial: fmt.Sprintf("H-%03d", i)})
	}
	if a := s.operator.get("/equipment/labels?all=yes").want(t, 422, "more than a sheet holds"); !strings.Contains(words(a.body), "a sheet holds at most 120 labels") || strings.Contains(a.body, `class="code"`) {
		t.Errorf("more than a sheet holds: %.600s", words(a.body))
	}
}

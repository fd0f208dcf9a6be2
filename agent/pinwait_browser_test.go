package agent_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thudbook/web/browsertest"
)

// After wrong PINs the page counts the wait down and opens the field by itself;
// the right PIN is then taken without a reload.
func TestWaitAfterWrongPINsEndsByItself(t *testing.T) {
	r := start(t)
	r.saved("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"4711"}})
	who := regexp.MustCompile(`/people/[0-9a-f-]{36}`).FindString(r.page("/people"))
	r.form("/people/out", nil)
	for range 3 {
		r.form(who, url.Values{"pin": {"4712"}})
	}
	tab := browsertest.New(t).Tab(t, r.base)
	tab.Open(who)
	const field = `document.getElementById("f-pin")`
	if !browsertest.Eval[bool](tab, field+`.disabled && /^Wait [1-5] seconds?, then try again\.$/.test(document.getElementById("pin-wait").textContent)`) {
		t.Fatalf("no wait is shown: %s", browsertest.Eval[string](tab, `document.body.innerText`))
	}
	tab.Wait(`document.getElementById("pin-wait").textContent === "Try again now." && !` + field + `.disabled && document.activeElement === ` + field)
	if _, err := chromedp.RunResponse(tab.Ctx, chromedp.KeyEvent("4711"+kb.Enter)); err != nil {
		t.Fatal(err)
	}
	r.until("she is signed in", func() bool { return strings.Contains(r.page("/people"), "Sign out") })
	tab.Check()
}

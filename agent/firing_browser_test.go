package agent_test

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thudbook/web/browsertest"
)

const axe = "../web/node_modules/axe-core/axe.min.js"

// A shot at the rig in a real browser, by keyboard alone, without a reload: next,
// the wait, the result as soon as the file is finished, next.
func TestShotInBrowser(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.plant(campaign(t))
	tab := browsertest.New(t).Tab(t, r.base)
	sound := func(where string) {
		t.Helper()
		for _, v := range tab.Axe(axe) {
			t.Errorf("%s: %s", where, v)
		}
		if n := tab.Sideways(); n > 0 {
			t.Errorf("%s: %d px of sideways scroll", where, n)
		}
	}
	tab.Look(browsertest.Look{Width: 820, Height: 1180, Phone: true}) // a tablet
	tab.Open("/")
	tab.Wait(`document.body.innerText.includes("FG-01, front, cold")`)
	sound("next")
	if _, err := chromedp.RunResponse(tab.Ctx, chromedp.SendKeys(chromedp.CSS(`form[action="/next/out"] button`), kb.Enter)); err != nil {
		t.Fatal(err)
	}
	tab.Wait(`/^[0-9]+ min [1-9][0-9]* s$/.test(document.querySelector("[data-since]").textContent)`) // it counts
	if _, err := chromedp.RunResponse(tab.Ctx, chromedp.SendKeys(chromedp.CSS(`#confirm-pressure`), "141"+kb.Enter)); err != nil {
		t.Fatal(err)
	}
	tab.Wait(`location.pathname === "/result" && document.body.innerText.includes("Waiting for the file of FG-01")`)
	sound("the wait")
	browsertest.Eval[bool](tab, `(document.activeElement.blur(), window.sameDocument = true)`)
	r.write("a.csv", csv(93))
	written := time.Now()
	tab.Wait(`document.body.innerText.includes("within ±0.10 m/s")`)
	t.Logf("the result was on the screen %.1f s after the file was written; its rule waits for 0.1 s", time.Since(written).Seconds())
	if !browsertest.Eval[bool](tab, `window.sameDocument === true`) {
		t.Error("the page was loaded anew")
	}
	sound("the result")
	if _, err := chromedp.RunResponse(tab.Ctx, chromedp.SendKeys(chromedp.CSS(`form[action="/result/accept"] button`), kb.Enter)); err != nil {
		t.Fatal(err)
	}
	tab.Wait(`location.pathname === "/next" && document.body.innerText.includes("FG-01, side")`)
	tab.Check()
}

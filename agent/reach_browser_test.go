package agent_test

import (
	"fmt"
	"net/url"
	"regexp"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thudbook/web/browsertest"
)

// inSight says that an element can be seen whole without scrolling, and that
// nothing lies over it.
const inSight = `(() => {
  const b = document.querySelector(%q), r = b.getBoundingClientRect();
  const top = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2);
  return scrollY === 0 && r.height > 0 && r.top >= 0 && r.bottom <= innerHeight && r.left >= 0 && r.right <= innerWidth && (top === b || b.contains(top)) ? "" : Math.round(r.top) + " to " + Math.round(r.bottom) + " of " + innerHeight;
})()`

// On an old screen of 1024 by 768 the button that confirms is in sight: with the
// fields of the chamber, with what the rig lacks, and with a draft beside it. The
// cautions are on the screen, and at the width of a phone nothing is cut.
func TestConfirmIsInSight(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.write("first.csv", csv(60))
	shot := r.shots(1)["first.csv"]
	r.plant(append(r.mounted(), campaign(t))...)
	tab := browsertest.New(t).Tab(t, r.base)
	tab.Look(browsertest.Look{Width: 1024, Height: 768})
	look := func(notices int) {
		t.Helper()
		tab.Open("/next")
		tab.Wait(`document.querySelector("#confirm-pressure") !== null`)
		if n := browsertest.Eval[int](tab, `document.querySelectorAll(".notices .notice").length`); n != notices {
			t.Errorf("%d notices, want %d", n, notices)
		}
		for _, css := range []string{`form[action="/next/confirm"] button`, `#confirm-pressure`} {
			if off := browsertest.Eval[string](tab, fmt.Sprintf(inSight, css)); off != "" {
				t.Errorf("with %d notices %s stands at %s", notices, css, off)
			}
		}
		if !browsertest.Eval[bool](tab, `document.querySelector("main").innerText.includes("people clear of the ram's path")`) {
			t.Error("the caution is not there")
		}
	}
	r.page("/next", "Out of the chamber since") // the hit is a cold one
	look(2)                                     // the rig is not ready, and no system check was made today
	v := url.Values{"specimen": {"FG-01"}, "location": {"front"}, "kind": {"shot"}, "target_speed_m_s": {"5"}}
	r.send("/shots/"+shot+"/assign", v, "/shots/")
	inspect := "/shots/" + shot + "/inspect"
	form := regexp.MustCompile(`name="inspection" value="([^"]+)"`).FindStringSubmatch(r.page(inspect))
	r.draft(inspect, url.Values{"inspection": {form[1]}, "note": {"bar bent"}})
	r.page("/next", "An inspection of FG-01 was begun")
	look(3)

	tab.Look(browsertest.Look{Width: 390, Height: 844, Phone: true})
	tab.Open("/next")
	if n := tab.Sideways(); n > 0 {
		t.Errorf("%d px of sideways scroll on a phone", n)
	}
	browsertest.Eval[bool](tab, `(document.querySelector('form[action="/next/confirm"] button').scrollIntoView({block: "end"}), true)`)
	for _, css := range []string{`form[action="/next/confirm"] button`, `#confirm-pressure`} {
		hit := `(() => { const b = document.querySelector(%q), r = b.getBoundingClientRect(), top = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2); return top === b || b.contains(top); })()`
		if !browsertest.Eval[bool](tab, fmt.Sprintf(hit, css)) {
			t.Errorf("something lies over %s on a phone", css)
		}
	}
	tab.Sound(axe, "next")
	tab.Check()
}

// By the keyboard the pressure is three keys from the loaded page, and the button
// that confirms one more. When the result has come, its heading has the focus and
// keeps it while the page renews itself, and a screen reader is told once.
func TestKeyboardFromNextToResult(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.plant(campaign(t))
	tab := browsertest.New(t).Tab(t, r.base)
	tab.Look(browsertest.Look{Width: 1024, Height: 768})
	tab.Open("/next")
	focused := func() string {
		return browsertest.Eval[string](tab, `document.activeElement.id || document.activeElement.textContent.trim()`)
	}
	for _, key := range []string{kb.Tab, kb.Tab, kb.Enter} {
		tab.Do(chromedp.KeyEvent(key))
	}
	if got := focused(); got != "confirm-pressure" {
		t.Fatalf("three keys lead to %q", got)
	}
	for _, key := range []string{"141", kb.Tab} {
		tab.Do(chromedp.KeyEvent(key))
	}
	if got := focused(); got != "Confirmed: wait for its file" {
		t.Fatalf("one more leads to %q", got)
	}
	if _, err := chromedp.RunResponse(tab.Ctx, chromedp.KeyEvent(kb.Enter)); err != nil {
		t.Fatal(err)
	}
	tab.Wait(`document.body.innerText.includes("Waiting for the file of FG-01")`)
	browsertest.Eval[bool](tab, `(window.told = [], new MutationObserver(() => told.push(document.getElementById("told").textContent)).observe(document.getElementById("told"), {childList: true, characterData: true, subtree: true}), true)`)
	r.write("a.csv", csv(93))
	tab.Wait(`document.activeElement.id === "h-result" && document.activeElement.textContent.includes("FG-01")`)
	if live := browsertest.Eval[string](tab, `document.getElementById("told").getAttribute("role") + ": " + told.join("|")`); live != "status: The result has come: FG-01, front" {
		t.Errorf("a screen reader is told %q", live)
	}
	// The ages on the page change, so it is renewed under the heading.
	browsertest.Eval[bool](tab, `(window.heading = document.activeElement, window.age = document.querySelector("#live time, #live .age").parentElement.textContent, true)`)
	tab.Wait(`document.querySelector("#live time, #live .age").parentElement.textContent !== age`)
	if !browsertest.Eval[bool](tab, `document.activeElement === heading && heading.isConnected && told.length === 1`) {
		t.Errorf("after a renewal the focus is on %q", focused())
	}
	for range 6 {
		if focused() == "Accept, and next" {
			break
		}
		tab.Do(chromedp.KeyEvent(kb.Tab))
	}
	if got := focused(); got != "Accept, and next" {
		t.Errorf("the Tab key leads from the heading to %q", got)
	}
	tab.Sound(axe, "result")
	tab.Check()
}

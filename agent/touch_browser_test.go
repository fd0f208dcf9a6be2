package agent_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thudbook/web/browsertest"
)

// tap touches the middle of an element with one finger.
func tap(t *testing.T, tab *browsertest.Tab, element string) {
	t.Helper()
	at := browsertest.Eval[[]float64](tab, `(() => { const e = `+element+`; e.scrollIntoView({block: "center", behavior: "instant"}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2, Math.min(r.width, r.height)]; })()`)
	if at[2] < 44 {
		t.Errorf("%s is %.0f px small, too little for gloves", element, at[2])
	}
	for _, p := range []input.DispatchTouchEventParams{
		{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: at[0], Y: at[1]}}},
		{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}},
	} {
		if _, err := chromedp.Call(tab.Ctx, input.DispatchTouchEvent, p); err != nil {
			t.Fatal(err)
		}
	}
}

// A PIN is entered with a gloved finger on the keypad, and by keyboard alone.
func TestKeypadInBrowser(t *testing.T) {
	r := start(t)
	if a := r.form("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"4711"}}); a.status != http.StatusSeeOther {
		t.Fatal(a.status)
	}
	who := regexp.MustCompile(`/people/[0-9a-f-]{36}`).FindString(r.page("/people"))
	tab := browsertest.New(t).Tab(t, r.base)
	tab.Allow("the server responded with a status of 422")
	tab.Look(browsertest.Phone)
	key := func(text string) string {
		return `[...document.querySelectorAll(".keypad button")].find((b) => b.textContent === "` + text + `")`
	}
	in := func() {
		t.Helper()
		r.until("she is signed in", func() bool { return strings.Contains(r.page("/people"), "Sign out") })
	}
	out := func() { r.form("/people/out", nil); tab.Open(who) }

	out()
	for _, k := range []string{"4", "7", "1", "2", "←", "1"} { // a wrong digit is taken back
		tap(t, tab, key(k))
	}
	if got := browsertest.Eval[string](tab, `document.getElementById("f-pin").value`); got != "4711" {
		t.Errorf("the keypad typed %q", got)
	}
	if n := tab.Sideways(); n > 0 {
		t.Errorf("%d px of sideways scroll", n)
	}
	tap(t, tab, key("OK"))
	in()

	out()
	typed := func(text string) {
		t.Helper()
		if _, err := chromedp.RunResponse(tab.Ctx, chromedp.KeyEvent(text)); err != nil { // the field has the focus
			t.Fatal(err)
		}
	}
	typed("4712" + kb.Enter)
	tab.Wait(`document.body.innerText.includes("This is not the PIN")`)
	if v := browsertest.Eval[string](tab, `document.getElementById("f-pin").value`); v != "" {
		t.Error("a wrong PIN is shown again")
	}
	typed("4711" + kb.Enter)
	in()
	tab.Check()
}

// What is typed into an inspection is there again after the page was loaded anew,
// and after the agent was started anew.
func TestInspectionDraftOverAReload(t *testing.T) {
	r := start(t)
	id := r.hit("H-9", 70)
	path := "/shots/" + id + "/inspect"
	tab := browsertest.New(t).Tab(t, r.base)
	tab.Look(browsertest.Phone)
	tab.Open(path)
	note := `document.querySelector("[name=weld_note]")`
	if err := chromedp.Do(tab.Ctx, chromedp.SendKeys(chromedp.CSS(`[name=weld_note]`), "hairline crack")); err != nil {
		t.Fatal(err)
	}
	tab.Wait(`document.getElementById("draft-state").textContent.includes("Draft kept at")`)
	tab.Open(path)
	if got := browsertest.Eval[string](tab, note+`.value`); got != "hairline crack" {
		t.Errorf("after a reload: %q", got)
	}
	// The last keys before the page goes are kept too.
	if err := chromedp.Do(tab.Ctx, chromedp.SendKeys(chromedp.CSS(`[name=weld_note]`), kb.End+" left")); err != nil {
		t.Fatal(err)
	}
	tab.Open("/shots")
	r.until("the last keys are kept", func() bool {
		return regexp.MustCompile(`hairline crack left`).MatchString(r.page(path))
	})
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	r.opt.Listen = r.base[len("http://"):]
	r.run()
	tab.Open(path)
	if got := browsertest.Eval[string](tab, note+`.value`); got != "hairline crack left" {
		t.Errorf("after a restart: %q", got)
	}
	tab.Check()
}

package agent_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thudbook/web/browsertest"
)

// hand works a tab as a person does: by the keyboard alone, or by touch alone.
type hand struct {
	t     *testing.T
	tab   *browsertest.Tab
	touch bool
}

// key presses one key, or types a text.
func (h *hand) key(text string) { h.t.Helper(); h.tab.Do(chromedp.KeyEvent(text)) }

// reach moves the focus to an element with the Tab key.
func (h *hand) reach(css string) {
	h.t.Helper()
	there := fmt.Sprintf(`!!document.activeElement?.matches(%q)`, css)
	for range 400 {
		if browsertest.Eval[bool](h.tab, there) {
			return
		}
		h.key(kb.Tab)
	}
	h.t.Fatalf("the Tab key does not lead to %s on %s", css, browsertest.Eval[string](h.tab, `location.pathname`))
}

// tap touches an element with one finger; what a gloved finger cannot hit is a fault.
func (h *hand) tap(css string) {
	h.t.Helper()
	tap(h.t, h.tab, fmt.Sprintf(`document.querySelector(%q)`, css))
}

// press works a button, a link, or the head of what folds open.
func (h *hand) press(css string) {
	h.t.Helper()
	if h.touch {
		h.tap(css)
		return
	}
	h.reach(css)
	h.key(kb.Enter)
}

// fill types a text over what stands in a field.
func (h *hand) fill(name, text string) {
	h.t.Helper()
	css := fmt.Sprintf(`main [name=%q]:not([type=hidden])`, name)
	if h.touch {
		h.tap(css)
		h.tab.Wait(fmt.Sprintf(`document.activeElement?.matches(%q)`, css))
		browsertest.Eval[bool](h.tab, `(document.activeElement.select(), true)`) // a long press selects what is there
	} else {
		h.reach(css) // the Tab key selects it
	}
	h.key(text)
	if got := browsertest.Eval[string](h.tab, fmt.Sprintf(`document.querySelector(%q).value`, css)); got != text {
		h.t.Errorf("typed %q into %s: %q stands there", text, name, got)
	}
}

// pick chooses one of a few answers.
func (h *hand) pick(name, value string) {
	h.t.Helper()
	one := fmt.Sprintf(`input[name=%q][value=%q]`, name, value)
	checked := fmt.Sprintf(`document.querySelector(%q).checked`, one)
	if h.touch {
		h.tap("label:has(> " + one + ")")
	} else {
		h.reach(fmt.Sprintf(`input[name=%q]`, name))
		h.key(" ")
		for range 8 {
			if browsertest.Eval[bool](h.tab, checked) {
				break
			}
			h.key(kb.ArrowDown)
		}
	}
	if !browsertest.Eval[bool](h.tab, checked) {
		h.t.Errorf("%s is not %s", name, value)
	}
}

// leads does what makes the browser go to another page, and waits until that is
// there and says a text.
func (h *hand) leads(do func(), path, says string) {
	h.t.Helper()
	browsertest.Eval[bool](h.tab, `window.before = true`)
	do()
	h.shows(fmt.Sprintf(`!window.before && document.readyState === "complete" && location.pathname === %q && document.body.innerText.includes(%q)`, path, says))
}

// shows waits for a condition across a change of pages, while which there is
// nothing that could be asked.
func (h *hand) shows(script string) {
	h.t.Helper()
	ctx, stop := context.WithTimeout(h.tab.Ctx, time.Minute)
	defer stop()
	for {
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](script))
		if err == nil && ok {
			return
		}
		if ctx.Err() != nil {
			at, _ := chromedp.Run(h.tab.Ctx, chromedp.Evaluate[string](`location.href + "\n" + document.body.innerText`))
			h.t.Fatalf("waited in vain for %s; last %v; on the screen is %.3000s", script, err, at)
		}
		select {
		case <-ctx.Done():
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// sound looks at the screen as it stands with axe-core, and for what is too wide.
func (h *hand) sound(where string) {
	h.t.Helper()
	for _, v := range h.tab.Axe(axe) {
		h.t.Errorf("%s: %s", where, v)
	}
	if n := h.tab.Sideways(); n > 0 {
		h.t.Errorf("%s: %d px of sideways scroll", where, n)
	}
}

// nav goes to a screen by the navigation, under More where it stands there.
func (h *hand) nav(path, says string) {
	h.t.Helper()
	if browsertest.Eval[bool](h.tab, fmt.Sprintf(`!!document.querySelector('nav details:not([open]) a[href=%q]')`, path)) {
		h.press(`nav summary`)
		h.shows(`document.querySelector("nav details").open`)
	}
	h.leads(func() { h.press(fmt.Sprintf(`nav a[href=%q]`, path)) }, path, says)
}

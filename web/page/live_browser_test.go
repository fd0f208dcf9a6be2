package page_test

import (
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/labstack/echo/v4"

	"thudbook/web/browsertest"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// The overview keeps itself fresh, leaves alone what did not change, and says
// so when the program does not answer any more.
func TestLiveOverview(t *testing.T) {
	var asked atomic.Int64
	var silent atomic.Bool
	e := httpkit.New(httpkit.Options{Log: slog.New(slog.DiscardHandler)})
	e.GET("/", func(c echo.Context) error {
		if silent.Load() {
			return echo.NewHTTPError(http.StatusServiceUnavailable)
		}
		return httpkit.Page(c, http.StatusOK, page.AgentOverview{
			Frame:     page.Frame{Title: "Overview", Refresh: 1},
			Watch:     page.WatchState{Folder: "same"},
			ToAssign:  int(asked.Add(1)),
			ShotsKept: "0",
		})
	})
	s := httptest.NewServer(e)
	t.Cleanup(s.Close)
	tab := browsertest.New(t).Tab(t, s.URL)
	tab.Allow("503")
	tab.Open("/")
	before := asked.Load()
	browsertest.Eval[bool](tab, `(document.querySelector("section.empty").dataset.mine = "kept", true)`)
	tab.Wait(fmt.Sprintf(`Number(document.querySelector(".ask .big").textContent) > %d`, before))
	if browsertest.Eval[string](tab, `document.querySelector("section.empty").dataset.mine || ""`) != "" {
		// The mark makes the part differ from the fetched one, so it is replaced;
		// the part without a mark, below, must stay the same element.
		t.Error("a part that differs from the fetched one was kept")
	}
	browsertest.Eval[bool](tab, `(window.panel = document.querySelector(".panels").closest("section"), true)`)
	now := asked.Load()
	tab.Wait(fmt.Sprintf(`Number(document.querySelector(".ask .big").textContent) > %d`, now))
	if !browsertest.Eval[bool](tab, `window.panel.isConnected`) {
		t.Error("a part that did not change was replaced")
	}

	// Nothing moves under the reader's hands.
	tab.Do(chromedp.Focus(chromedp.CSS(".ask")))
	held := browsertest.Eval[string](tab, `document.querySelector(".ask .big").textContent`)
	browsertest.Eval[bool](tab, `new Promise(r => setTimeout(() => r(true), 2500))`)
	if got := browsertest.Eval[string](tab, `document.querySelector(".ask .big").textContent`); got != held {
		t.Errorf("the part in focus changed from %s to %s", held, got)
	}
	browsertest.Eval[bool](tab, `(document.activeElement.blur(), true)`)

	silent.Store(true)
	tab.Wait(`!document.getElementById("stale").hidden && document.getElementById("stale").textContent.includes("No answer from Thudbook since")`)
	silent.Store(false)
	tab.Wait(`document.getElementById("stale").hidden`)
}

// What was typed into a form stays when the page keeps itself fresh, also after
// the field was left: on a phone the keyboard is put away before a form is sent.
func TestLiveKeepsWhatWasTyped(t *testing.T) {
	var asked atomic.Int64
	var more atomic.Bool
	e := httpkit.New(httpkit.Options{Log: slog.New(slog.DiscardHandler)})
	e.GET("/", func(c echo.Context) error {
		n := int(asked.Add(1))
		when := httpkit.Blank(page.CampaignWhenFields(), "/when", "when", "Set rig and days")
		when.Choices = map[string][]page.Choice{"rig": {{Value: "", Text: "not said"}, {Value: "r1", Text: "Rig one"}}}
		limits := httpkit.Blank(page.CampaignLimitsFields(), "/limits", "limits", "Set the limits")
		limits.Errors = map[string]string{"acceptance_limits": "This is wrong."} // so that it stands open
		p := page.Campaign{Frame: page.Frame{Title: "Campaign", Refresh: 1}, ID: "c1", Name: "Maple series", Planned: 900, Done: n, When: &when, SetLimits: &limits}
		if more.Load() {
			p.Limits = []page.LimitRow{{Name: "Peak", Source: "own plan"}}
		}
		return httpkit.Page(c, http.StatusOK, p)
	})
	s := httptest.NewServer(e)
	t.Cleanup(s.Close)
	tab := browsertest.New(t).Tab(t, s.URL)
	tab.Open("/")
	key := `document.querySelector("#limits [name=key]").value`
	fresh := func() {
		t.Helper()
		now := asked.Load()
		tab.Wait(fmt.Sprintf(`document.querySelector("main").innerText.includes(" of 900") && Number(/(\d+) of 900/.exec(document.querySelector("main").innerText)[1]) > %d`, now))
	}
	first := browsertest.Eval[string](tab, key)
	fresh()
	if browsertest.Eval[string](tab, key) == first {
		t.Error("a form that nobody touched was not kept fresh")
	}
	tab.Do(chromedp.SendKeys(chromedp.CSS(`#limits [name=acceptance_limits]`), "hic15; 700"))
	browsertest.Eval[bool](tab, `(document.activeElement.blur(), true)`)
	fresh()
	if got := browsertest.Eval[string](tab, `document.querySelector("#limits [name=acceptance_limits]").value`); got != "hic15; 700" {
		t.Errorf("typed, and %q is left of it", got)
	}
	// One part more: everything would be exchanged, so the page says that it waits.
	more.Store(true)
	tab.Wait(`!document.getElementById("stale").hidden && document.getElementById("stale").textContent.includes("What you typed is kept")`)
	if got := browsertest.Eval[string](tab, `document.querySelector("#limits [name=acceptance_limits]").value`); got != "hic15; 700" {
		t.Errorf("with one part more %q is left", got)
	}
}

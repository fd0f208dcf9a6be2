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

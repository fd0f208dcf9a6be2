package page_test

import (
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"

	"thudbook/web"
	"thudbook/web/browsertest"
	"thudbook/web/chart"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/page/pagetest"
	"thudbook/web/picture"
	"thudbook/web/picture/picturetest"
)

const (
	axe     = "../node_modules/axe-core/axe.min.js"
	axePath = "/axe.min.js"
)

// tooWide names the elements that reach beyond the right edge.
const tooWide = `[...document.querySelectorAll("body *")]
	.filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest(".scroll, pre")).slice(0, 4)
	.map(e => e.tagName + "." + e.className + " " + Math.round(e.getBoundingClientRect().right)).join(", ")`

// spilt names the figures that are wider than their box, and so overprint what
// stands beside it.
const spilt = `[...document.querySelectorAll(".headline dd, .facts dd")]
	.filter(e => e.scrollWidth > e.clientWidth + 1).filter(e => e.scrollWidth > e.clientWidth + 1).slice(0, 4) // asked again: right after a resize the first answer can be the old one
	.map(e => e.textContent.trim() + " " + e.scrollWidth + " px in " + e.clientWidth).join("; ")`

// between tells the widths that only screens with large figures are looked at in:
// what else there is runs out of room on a phone first.
func between(l browsertest.Look) bool {
	return l == browsertest.Tablet || l == browsertest.Upright || l == browsertest.PhoneWide
}

// gallery serves every screen under its name, behind the same headers as the
// programs do, with the traces of the shot screens.
func gallery(t testing.TB) *httptest.Server {
	t.Helper()
	if !web.Assets().Built() {
		t.Fatal("the script is not bundled; run make assets")
	}
	e := httpkit.New(httpkit.Options{Log: slog.New(slog.DiscardHandler), Hosts: httpkit.LoopbackHosts()})
	traces := map[string]*chart.Traces{}
	for _, item := range pagetest.Gallery() {
		e.GET("/gallery/"+item.Name, func(c echo.Context) error { return httpkit.Page(c, http.StatusOK, item.Page) })
		if s, ok := item.Page.(page.Shot); ok && s.Traces != nil {
			traces[item.Name] = s.Traces
		}
	}
	e.GET(axePath, func(c echo.Context) error {
		c.Response().Header().Set("Cache-Control", "max-age=3600")
		return c.File(axe)
	})
	e.GET("/shots/:id/traces.bin", func(c echo.Context) error {
		tr := traces["shot"]
		for name, one := range traces {
			if ref, err := url.Parse(c.Request().Referer()); err == nil && ref.Path == "/gallery/"+name {
				tr = one
			}
		}
		return chart.ServeTraces(c.Response(), c.Request(), *tr)
	})
	photo := picturetest.JPEG(t, picturetest.Corners(1600, 1200), picturetest.Tags{}, 0)
	for _, size := range []string{"small", "large"} {
		e.GET(page.PathPhotos+"/:id/"+size+".jpg", func(c echo.Context) error { return picture.ServeCopy(c.Response(), photo) })
	}
	s := httptest.NewServer(e)
	t.Cleanup(s.Close)
	return s
}

// violations asks axe-core for all its rules in light, and in dark for the
// contrast, which is all that differs. The very full screens are made of the
// same parts as the normal ones, only more often.
func violations(tab *browsertest.Tab, name string, look browsertest.Look) []string {
	switch {
	case strings.HasSuffix(name, "-full"):
		return nil
	case look == browsertest.Desktop:
		return tab.Axe(axe)
	case look == browsertest.DesktopDark:
		return tab.Axe(axe, "color-contrast")
	default:
		return nil
	}
}

// Every screen in every state: no script or policy error, no request to
// another origin, nothing that axe-core finds, no sideways scroll down to
// 320 px. With THUDBOOK_PICTURES set to a folder, each is photographed. All
// screens share a few tabs and one axe-core: starting a tab and reading the
// script anew for each page once took four fifths of the time.
func TestGalleryInBrowser(t *testing.T) {
	if _, err := os.Stat(axe); err != nil {
		t.Fatalf("axe-core is missing; run npm ci --prefix web: %v", err)
	}
	s := gallery(t)
	b := browsertest.New(t)
	tabs := make(chan *browsertest.Tab, 2)
	for range cap(tabs) {
		tabs <- b.Tab(t, s.URL)
	}
	t.Run("screens", func(t *testing.T) { // ends when all screens, which run beside each other, have
		for _, item := range pagetest.Gallery() {
			t.Run(item.Name, func(t *testing.T) {
				t.Parallel()
				tab := <-tabs
				t.Cleanup(func() { tabs <- tab })
				tab.For(t)
				inspect(t, tab, item)
			})
		}
	})
}

// inspect looks at one screen. Dark differs from light in colours alone.
func inspect(t *testing.T, tab *browsertest.Tab, item pagetest.Item) {
	pictures := os.Getenv("THUDBOOK_PICTURES")
	tab.Look(browsertest.Desktop)
	tab.Open("/gallery/" + item.Name)
	if shot, ok := item.Page.(page.Shot); ok && shot.Traces != nil {
		tab.Wait(`document.getElementById("traces").dataset.ready`)
	}
	tab.Script(axePath)
	for _, look := range []browsertest.Look{browsertest.Desktop, browsertest.DesktopDark, browsertest.PhoneDark, browsertest.Phone, browsertest.Narrow, browsertest.Tablet, browsertest.Upright, browsertest.PhoneWide} {
		if look == browsertest.PhoneDark && pictures == "" {
			continue // for the eye only
		}
		if between(look) && pictures == "" && !browsertest.Eval[bool](tab, `document.querySelector(".headline, .stack") !== null`) {
			continue
		}
		tab.Look(look)
		if !look.Dark {
			if n := tab.Sideways(); n > 0 {
				t.Errorf("%s: %d px of sideways scroll: %s", look.Name(), n, browsertest.Eval[string](tab, tooWide))
			}
		}
		if text := browsertest.Eval[string](tab, spilt); text != "" {
			t.Errorf("%s: figures overflow their box: %s", look.Name(), text)
		}
		if n := browsertest.Eval[int](tab, `Math.max(0, ...[...document.querySelectorAll(".scroll:has(> .stack)")].map(e => e.scrollWidth - e.clientWidth - 1))`); n > 0 {
			t.Errorf("%s: a table is cut by %d px", look.Name(), n)
		}
		for _, v := range violations(tab, item.Name, look) {
			t.Errorf("%s: %s", look.Name(), v)
		}
		if pictures != "" && look != browsertest.Narrow {
			tab.Picture(pictures, item.Name+"-"+look.Name())
		}
	}
}

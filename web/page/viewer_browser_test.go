package page_test

import (
	"context"
	"io"
	"math"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thudbook/web"
	"thudbook/web/browsertest"
	"thudbook/web/chart"
	"thudbook/web/page/pagetest"
)

// limits reads what the address says of the view, in ms; whole when nothing.
const limits = `(() => { const t = new URLSearchParams(location.search).get("t"); return t ? t.split(",").map(Number) : [-18, 82]; })()`

// The trace viewer in a real browser: it loads, shows the values at the cursor,
// zooms by mouse, keys and wheel, keeps the view in the address, and Back
// undoes a zoom. The curves are those of pagetest.Traces.
func TestViewer(t *testing.T) {
	s := gallery(t)
	b := browsertest.New(t)

	t.Run("keys, address, back", func(t *testing.T) {
		tab := b.Tab(t, s.URL)
		tab.Look(browsertest.Desktop)
		tab.Open("/gallery/shot")
		tab.Wait(`document.getElementById("traces").dataset.ready === "full"`)
		tab.Do(chromedp.Focus(chromedp.CSS(".trace-live")))
		first := browsertest.Eval[[]float64](tab, `[-10, 60]`) // the view that pagetest.Traces asks for
		tab.Do(chromedp.KeyEvent("+"))
		tab.Wait(`new URLSearchParams(location.search).has("t")`)
		in := browsertest.Eval[[]float64](tab, limits)
		if w := in[1] - in[0]; math.Abs(w-(first[1]-first[0])/2) > 0.01 {
			t.Errorf("plus shows %g ms, want half of 70", w)
		}
		tab.Do(chromedp.NavigateBack())
		tab.Wait(`!new URLSearchParams(location.search).has("t")`)

		// The cursor at the largest value says what the record holds there.
		tab.Open("/gallery/shot?c=7.000")
		tab.Wait(`document.getElementById("traces").dataset.ready === "full"`)
		tab.Do(chromedp.Focus(chromedp.CSS(".trace-live")), chromedp.KeyEvent(kb.ArrowRight))
		tab.Wait(`document.querySelector(".readout").textContent !== ""`)
		// At 7.05 ms the invented pulse of 14 ms and 94 g is 94 sin²(π·7.05/14).
		if text := browsertest.Eval[string](tab, `document.querySelector(".readout").textContent`); !strings.HasPrefix(text, "At 7.05 ms: Head x 94.0 g") {
			t.Errorf("the readout says %q", text)
		}
		// From anywhere one key goes to the peak of one unit after the other, and says of what.
		tab.Do(chromedp.KeyEvent(kb.Home), chromedp.KeyEvent("p"))
		tab.Wait(`document.querySelector(".readout").textContent.startsWith("Peak of Head x. At 7.00 ms: Head x 94.0 g")`)
		tab.Do(chromedp.KeyEvent("P"))
		tab.Wait(`document.querySelector(".readout").textContent.startsWith("Peak of Head rate y. At 15.00 ms")`)
		tab.Open("/gallery/shot?c=7.050")
		tab.Wait(`document.getElementById("traces").dataset.ready === "full"`)
		tab.Do(chromedp.Focus(chromedp.CSS(".trace-live")))
		// The time stands above the traces, and a mark gives the difference: samples are 0.05 ms apart.
		times := func(want string) {
			t.Helper()
			if text := browsertest.Eval[string](tab, `document.querySelector(".cursor-times").textContent`); text != want {
				t.Errorf("the times are %q, want %q", text, want)
			}
		}
		times("Cursor 7.05 ms")
		tab.Do(chromedp.KeyEvent("m"), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight))
		times("Cursor 7.15 ms · mark 7.05 ms · difference 0.10 ms")
		tab.Wait(`new URLSearchParams(location.search).get("m") === "7.050"`)
		browsertest.Eval[bool](tab, `[...document.querySelectorAll(".trace-tools button")].find(b => b.textContent === "Mark").click(), true`)
		times("Cursor 7.15 ms · mark 7.15 ms · difference 0.00 ms")
		tab.Do(chromedp.Focus(chromedp.CSS(".trace-live")))
		tab.Do(chromedp.KeyEvent("0"))
		tab.Wait(`(new URLSearchParams(location.search).get("t") || "").startsWith("-50.000,")`)
	})

	t.Run("drag, as read, hide, reload", func(t *testing.T) {
		tab := b.Tab(t, s.URL)
		tab.Look(browsertest.Desktop)
		tab.Open("/gallery/shot")
		tab.Wait(`document.getElementById("traces").dataset.ready`)
		browsertest.Eval[bool](tab, `document.querySelector(".u-over").scrollIntoView({block: "center"}), true`)
		box := browsertest.Eval[[]float64](tab, `(() => { const b = document.querySelector(".u-over").getBoundingClientRect(); return [b.left, b.top, b.width, b.height]; })()`)
		y := box[1] + box[3]/2
		drag(tab, t, box[0]+box[2]*0.25, y, box[0]+box[2]*0.75, y)
		tab.Wait(`new URLSearchParams(location.search).has("t")`)
		got := browsertest.Eval[[]float64](tab, limits)
		if math.Abs(got[0]-7.5) > 0.5 || math.Abs(got[1]-42.5) > 0.5 {
			t.Errorf("a drag over the middle half of -10 to 60 ms shows %v", got)
		}
		browsertest.Eval[bool](tab, `[...document.querySelectorAll(".trace-tools button")].find(b => b.textContent === "As read").click(), true`)
		tab.Wait(`new URLSearchParams(location.search).get("set") === "raw"`)
		browsertest.Eval[bool](tab, `document.querySelector(".trace-live .key button").click(), true`)
		tab.Wait(`new URLSearchParams(location.search).get("off") === "ax"`)
		tab.Do(chromedp.Reload())
		tab.Wait(`document.getElementById("traces") && document.getElementById("traces").dataset.ready`)
		if s := browsertest.Eval[string](tab, `[document.querySelector(".trace-tools [aria-pressed=true]").textContent, document.querySelector(".trace-live .key button").getAttribute("aria-pressed"), new URLSearchParams(location.search).get("off")].join()`); s != "As read,false,ax" {
			t.Errorf("after a reload: %s", s)
		}
	})

	t.Run("wheel and fingers", func(t *testing.T) {
		tab := b.Tab(t, s.URL)
		tab.Look(browsertest.Phone)
		tab.Open("/gallery/shot")
		tab.Wait(`document.getElementById("traces").dataset.ready`)
		browsertest.Eval[bool](tab, `document.querySelector(".u-over").scrollIntoView({block: "center"}), true`)
		box := browsertest.Eval[[]float64](tab, `(() => { const b = document.querySelector(".u-over").getBoundingClientRect(); return [b.left, b.top, b.width, b.height]; })()`)
		x, y := box[0]+box[2]/2, box[1]+box[3]/2
		pinch(tab, t, x, y, 30, 60)
		// Two fingers twice as far apart show half of the 70 ms; the address
		// follows when they rest.
		tab.Wait(`(([a, b]) => Math.abs(b - a - 35) < 1)(` + limits + `)`)
		// The wheel zooms only where the traces were chosen first.
		tab.Do(chromedp.Focus(chromedp.CSS(".trace-live")))
		wheel(tab, t, x, y, -240)
		tab.Wait(`(([a, b]) => Math.abs(b - a - 35 / Math.E) < 1)(` + limits + `)`)
	})

	t.Run("overlay and export", func(t *testing.T) {
		tab := b.Tab(t, s.URL)
		tab.Look(browsertest.Desktop)
		tab.Open("/gallery/shot")
		tab.Wait(`document.getElementById("traces").dataset.ready === "full"`)
		ink := `(() => { const c = document.querySelector(".uplot canvas"), d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data; let n = 0; for (let i = 3; i < d.length; i += 4) n += d[i] > 0; return n; })()`
		before := browsertest.Eval[int](tab, ink)
		browsertest.Eval[bool](tab, `document.querySelector("#overlay-list input").click(), true`)
		tab.Wait(`document.getElementById("traces").dataset.overlays === "1" && new URLSearchParams(location.search).get("o") === "o1"`)
		if after := browsertest.Eval[int](tab, ink); after == before {
			t.Error("the overlay draws nothing")
		}
		tab.Do(chromedp.Reload())
		tab.Wait(`document.getElementById("traces") && document.getElementById("traces").dataset.overlays === "1"`)
		// Another shot leaves the range of a view alone in which it passes nothing:
		// both are the same invented shot, and the curves are as high with it as without.
		heights := func(query string) string {
			t.Helper()
			tab.Open("/gallery/shot?t=30.000,50.000" + query)
			tab.Wait(`document.getElementById("traces").dataset.ready === "full"`)
			if query != "" {
				tab.Wait(`document.getElementById("traces").dataset.overlays === "1"`)
			}
			return browsertest.Eval[string](tab, `(() => { const s = document.querySelector(".trace-live").panes; return JSON.stringify(s.map((p) => [p.plot.scales.y.min, p.plot.scales.y.max])); })()`)
		}
		if alone, with := heights(""), heights("&o=o1"); alone != with {
			t.Errorf("the ranges are %s, with another shot %s", alone, with)
		}
		tab.Open("/gallery/shot?o=o1")
		tab.Wait(`document.getElementById("traces").dataset.overlays === "1"`)
		// What is saved is a picture of what is shown: the blobs are caught on their way.
		browsertest.Eval[bool](tab, `(window.saved = [], URL.createObjectURL = b => { saved.push(b); return "#"; }, true)`)
		for _, kind := range []string{"SVG", "PNG"} {
			browsertest.Eval[bool](tab, `[...document.querySelectorAll(".trace-tools button")].find(b => b.textContent === "Picture, `+kind+`").click(), true`)
		}
		tab.Wait(`window.saved.length === 2`)
		svg := browsertest.Eval[string](tab, `window.saved[0].text()`)
		for _, text := range []string{"<svg ", "time since trigger, ms", "HIC window, 15 ms", "3 ms clip", "rad/s", `stroke-opacity="0.45"`, "CFC 1000"} {
			if !strings.Contains(svg, text) {
				t.Errorf("the SVG does not hold %q", text)
			}
		}
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Infinity") {
			t.Error("the SVG holds what is no number")
		}
		if png := browsertest.Eval[string](tab, `saved[1].arrayBuffer().then(b => saved[1].type + " " + (b.byteLength > 10000))`); png != "image/png true" {
			t.Errorf("the PNG is %s", png)
		}
	})

	t.Run("without scripts", func(t *testing.T) {
		tab := b.Tab(t, s.URL)
		if _, err := chromedp.Call(tab.Ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
			t.Fatal(err)
		}
		tab.Open("/gallery/shot")
		html, err := chromedp.Run(tab.Ctx, chromedp.OuterHTML(chromedp.CSS("#traces")))
		if err != nil {
			t.Fatal(err)
		}
		if strings.Count(html, "<path class=\"curve") < 14 || !strings.Contains(html, "this is a still picture") {
			t.Error("without scripts the still picture and its remark are not there")
		}
	})
}

func drag(tab *browsertest.Tab, t *testing.T, x1, y1, x2, y2 float64) {
	t.Helper()
	tab.Do(
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x1, y1, chromedp.ButtonNone),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, x1, y1, chromedp.ButtonLeft),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, (x1+x2)/2, y2, chromedp.ButtonLeft),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x2, y2, chromedp.ButtonLeft),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, x2, y2, chromedp.ButtonLeft),
	)
}

func pinch(tab *browsertest.Tab, t *testing.T, x, y, from, to float64) {
	t.Helper()
	send := func(typ input.DispatchTouchEventType, half float64) {
		p := input.DispatchTouchEventParams{Type: typ, TouchPoints: []*input.TouchPoint{}}
		if half > 0 {
			p.TouchPoints = []*input.TouchPoint{{X: x - half, Y: y, ID: new(1.0)}, {X: x + half, Y: y, ID: new(2.0)}}
		}
		if _, err := chromedp.Call(tab.Ctx, input.DispatchTouchEvent, p); err != nil {
			t.Fatal(err)
		}
	}
	send(input.DispatchTouchEventTypeTouchStart, from)
	for i := 1; i <= 6; i++ {
		send(input.DispatchTouchEventTypeTouchMove, from+(to-from)*float64(i)/6)
	}
	send(input.DispatchTouchEventTypeTouchEnd, 0)
}

func wheel(tab *browsertest.Tab, t *testing.T, x, y, by float64) {
	t.Helper()
	p := input.DispatchMouseEventParams{Type: input.DispatchMouseEventTypeMouseWheel, X: x, Y: y, DeltaX: 1e-9, DeltaY: by} // a zero would be left out, which the browser refuses
	if _, err := chromedp.Call(tab.Ctx, input.DispatchMouseEvent, p); err != nil {
		t.Fatal(err)
	}
}

// The first load of the fullest shot, 12 channels of 10 000 samples: page,
// style, script and thinned traces together stay below 350 kB, unpacked.
func TestFirstLoad(t *testing.T) {
	s := gallery(t)
	total := 0
	for _, path := range []string{"/gallery/shot-full", web.Assets().URL("style.css"), web.Assets().URL("app.css"), web.Assets().URL("app.js"), "/shots/x/traces.bin?set=filtered&buckets=1200"} {
		r, err := http.NewRequestWithContext(context.Background(), "GET", s.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Referer", s.URL+"/gallery/shot-full")
		w, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(w.Body)
		w.Body.Close()
		if err != nil || w.StatusCode != 200 {
			t.Fatalf("%s: %d %v", path, w.StatusCode, err)
		}
		t.Logf("%7d bytes %s", len(body), path)
		total += len(body)
	}
	if n := len(pagetest.Many().Channels); n != 12 {
		t.Fatalf("the fullest shot has %d channels", n)
	}
	if total > 350_000 {
		t.Errorf("%d bytes", total)
	}
}

func BenchmarkStatic(b *testing.B) {
	tr := *pagetest.Many()
	b.ReportAllocs()
	for b.Loop() {
		if len(chart.Static(tr)) == 0 {
			b.Fatal("nothing drawn")
		}
	}
}

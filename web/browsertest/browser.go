// Package browsertest drives a real headless Chromium in tests: one browser for
// a test, a tab for each step. A tab fails the test on a script error, on a
// message the browser logs as an error (a blocked style or script too), and on
// any request to another origin. A missing browser fails the test.
package browsertest

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	cdplog "github.com/chromedp/cdproto/log"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// Browser is one running Chromium.
type Browser struct {
	ctx context.Context
	end func()
}

// New starts Chromium and ends it with the test. It takes certificates whose
// public keys are named, by the base64 of their SHA-256, although nobody vouches
// for them.
func New(tb testing.TB, keys ...string) *Browser { tb.Helper(); return In(tb, "", keys...) }

// In is New with the folder in which the browser keeps what pages store, so that
// another one can go on with it; "" is one of its own.
func In(tb testing.TB, profile string, keys ...string) *Browser {
	tb.Helper()
	path := executable(tb)
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	if profile != "" {
		opts = append(opts, chromedp.UserDataDir(profile))
	}
	if len(keys) > 0 {
		opts = append(opts, chromedp.Flag("ignore-certificate-errors-spki-list", strings.Join(keys, ",")))
	}
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, stop := chromedp.NewContext(alloc)
	end := sync.OnceFunc(func() { stop(); stopAlloc() })
	tb.Cleanup(end)
	if err := chromedp.Do(ctx); err != nil {
		tb.Fatalf("start %s: %v", path, err)
	}
	return &Browser{ctx: ctx, end: end}
}

// Kill ends the browser at once, with all its tabs.
func (b *Browser) Kill() { b.end() }

func executable(tb testing.TB) string {
	tb.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	tb.Fatal("no Chromium on PATH; install it, as with: apt-get install --no-install-recommends chromium")
	return ""
}

// Look is the screen that a tab pretends to have.
type Look struct {
	Width, Height int64
	Phone, Dark   bool
}

// The looks that every screen is checked in.
var (
	Desktop     = Look{Width: 1280, Height: 900}
	DesktopDark = Look{Width: 1280, Height: 900, Dark: true}
	Phone       = Look{Width: 390, Height: 844, Phone: true}
	PhoneDark   = Look{Width: 390, Height: 844, Phone: true, Dark: true}
	Narrow      = Look{Width: 320, Height: 640, Phone: true}
	Tablet      = Look{Width: 1024, Height: 768, Phone: true}
	Upright     = Look{Width: 768, Height: 1024, Phone: true}
	PhoneWide   = Look{Width: 844, Height: 390, Phone: true}
)

// Name is fit for a file name, as "390-dark".
func (l Look) Name() string {
	s := fmt.Sprint(l.Width)
	if l.Dark {
		s += "-dark"
	}
	return s
}

// Tab is one page under watch.
type Tab struct {
	Ctx    context.Context
	tb     testing.TB
	origin string

	mu     sync.Mutex
	faults []string
	allow  []string
	bytes  int64
}

// Tab opens a tab. origin ("http://127.0.0.1:8080") is the only place it may
// ask. Faults are reported when the test ends, or by Check.
func (b *Browser) Tab(tb testing.TB, origin string) *Tab {
	tb.Helper()
	ctx, stop := chromedp.NewContext(b.ctx)
	t := &Tab{Ctx: ctx, tb: tb, origin: origin}
	tb.Cleanup(func() { t.Check(); stop() })
	if err := chromedp.Listen(ctx, t.hear); err != nil {
		tb.Fatalf("open a tab: %v", err)
	}
	return t
}

// For lends the tab to a part of the test, which gets the faults heard
// meanwhile. One tab for many pages saves starting a process for each.
func (t *Tab) For(tb testing.TB) {
	owner := t.tb
	t.tb = tb
	tb.Cleanup(func() { t.Check(); t.tb = owner })
}

// within bounds one step, far above what a loaded machine needs.
func (t *Tab) within() (context.Context, context.CancelFunc) {
	return context.WithTimeout(t.Ctx, 2*time.Minute)
}

// Allow takes messages of the browser that contain text as expected, as the
// status of an error page.
func (t *Tab) Allow(text string) { t.allow = append(t.allow, text) }

func (t *Tab) hear(ev any) {
	switch e := ev.(type) {
	case *runtime.EventExceptionThrown:
		text := e.ExceptionDetails.Text
		if e.ExceptionDetails.Exception != nil {
			text += " " + e.ExceptionDetails.Exception.Description
		}
		t.fault("script error: " + text)
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError {
			t.fault("console.error")
		}
	case *cdplog.EventEntryAdded:
		if e.Entry.Level == cdplog.EntryLevelError {
			t.fault("browser: " + e.Entry.Text + " " + e.Entry.URL)
		}
	case *network.EventRequestWillBeSent:
		u, err := url.Parse(e.Request.URL)
		if err == nil && (u.Scheme == "http" || u.Scheme == "https") && u.Scheme+"://"+u.Host != t.origin {
			t.fault("request to another origin: " + e.Request.URL)
		}
	case *network.EventLoadingFinished:
		t.mu.Lock()
		t.bytes += int64(e.EncodedDataLength)
		t.mu.Unlock()
	}
}

func (t *Tab) fault(text string) {
	for _, a := range t.allow {
		if strings.Contains(text, a) {
			return
		}
	}
	t.mu.Lock()
	t.faults = append(t.faults, text)
	t.mu.Unlock()
}

// Bytes is how much the tab has received so far.
func (t *Tab) Bytes() int64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.bytes
}

// Check reports and forgets the faults heard so far.
func (t *Tab) Check() {
	t.mu.Lock()
	faults := t.faults
	t.faults = nil
	t.mu.Unlock()
	for _, f := range faults {
		t.tb.Errorf("%s", f)
	}
}

// Look sets size and colour scheme.
func (t *Tab) Look(l Look) {
	t.tb.Helper()
	var o []chromedp.EmulateViewportOption
	if l.Phone {
		o = append(o, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	t.Do(chromedp.EmulateViewport(l.Width, l.Height, o...))
	scheme := "light"
	if l.Dark {
		scheme = "dark"
	}
	_, err := chromedp.Call(t.Ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
	if err != nil {
		t.tb.Fatalf("colour scheme: %v", err)
	}
}

// Do runs steps and ends the test when one fails.
func (t *Tab) Do(steps ...chromedp.Action[chromedp.Void]) {
	t.tb.Helper()
	ctx, stop := t.within()
	defer stop()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.tb.Fatalf("browser step: %v", err)
	}
}

// Open goes to a path of the origin.
func (t *Tab) Open(path string) { t.tb.Helper(); t.Do(chromedp.Navigate(t.origin + path)) }

// Eval returns the value of a script expression; promises are awaited.
func Eval[T any](t *Tab, script string) T {
	t.tb.Helper()
	ctx, stop := t.within()
	defer stop()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		t.tb.Fatalf("script %.80s: %v", script, err)
	}
	return v
}

// Wait waits until a script expression is true.
func (t *Tab) Wait(script string) {
	t.tb.Helper()
	ctx, stop := t.within()
	defer stop()
	if _, err := chromedp.Run(ctx, chromedp.Poll[chromedp.Void](script)); err != nil {
		t.tb.Fatalf("waiting for %s: %v", script, err)
	}
}

// Sideways tells how many pixels the page can be scrolled sideways; 0 is right.
func (t *Tab) Sideways() int {
	t.tb.Helper()
	return Eval[int](t, `new Promise(done => {
		let frames = 4; // scripts that follow the width need a few
		const wait = () => frames-- ? requestAnimationFrame(wait) : done(document.documentElement.scrollWidth - document.documentElement.clientWidth);
		wait();
	})`)
}

// Script runs a script of the origin in the page, as a script element does, so
// that the browser keeps it compiled for the next page.
func (t *Tab) Script(path string) {
	t.tb.Helper()
	Eval[bool](t, fmt.Sprintf(`new Promise((done, failed) => {
		const s = document.createElement("script");
		s.src = %q; s.onload = () => { s.remove(); done(true); }; s.onerror = () => failed(new Error("no script " + s.src));
		document.head.append(s);
	})`, path))
}

// Axe runs axe-core on the page and returns the violations in words. script is
// the path of axe.min.js; with rules only those are run, else all.
func (t *Tab) Axe(script string, rules ...string) []string {
	t.tb.Helper()
	only := ""
	if len(rules) > 0 {
		only = `, runOnly: ["` + strings.Join(rules, `", "`) + `"]`
	}
	if !Eval[bool](t, `"axe" in window`) {
		src, err := os.ReadFile(script)
		if err != nil {
			t.tb.Fatalf("axe-core is missing; run npm ci --prefix web: %v", err)
		}
		Eval[bool](t, string(src)+"; true")
	}
	return Eval[[]string](t, `axe.run(document, {resultTypes: ["violations"]`+only+`}).then(r => r.violations.map(v =>
		v.id + ": " + v.help + " at " + v.nodes.slice(0, 3).map(n => n.target.join(" ") + " [" + (n.any.concat(n.all, n.none).map(c => c.message)[0] || "") + "]").join(" | ")))`)
}

// Sound fails the test where axe-core finds something on the page, or where it can
// be scrolled sideways. script is the path of axe.min.js.
func (t *Tab) Sound(script, where string) {
	t.tb.Helper()
	for _, v := range t.Axe(script) {
		t.tb.Errorf("%s: %s", where, v)
	}
	if n := t.Sideways(); n > 0 {
		t.tb.Errorf("%s: %d px of sideways scroll", where, n)
	}
}

// Leave focuses what a person would tab to, types there, and waits for the page
// that follows.
func (t *Tab) Leave(selector, keys string) {
	t.tb.Helper()
	ctx, stop := t.within()
	defer stop()
	if _, err := chromedp.RunResponse(ctx, chromedp.SendKeys(chromedp.CSS(selector), keys)); err != nil {
		t.tb.Fatalf("%s: %v", selector, err)
	}
}

// Picture saves the whole page as PNG in dir.
func (t *Tab) Picture(dir, name string) {
	t.tb.Helper()
	png, err := chromedp.Run(t.Ctx, chromedp.FullScreenshot(100))
	if err != nil {
		t.tb.Fatalf("picture: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		t.tb.Fatal(err)
	}
}

package main

import (
	"encoding/json"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thudbook/sync/trial/programtest"
	"thudbook/web/browsertest"
)

const axeScript = "../../web/node_modules/axe-core/axe.min.js"

// startDemo runs the demo as a person would and waits for its addresses.
func startDemo(t *testing.T) demoState {
	t.Helper()
	bin, err := binary()
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "state.json")
	out := &programtest.Output{}
	cmd := exec.Command(bin, "demo", "--data", filepath.Join(t.TempDir(), "demo"), "--listen", "127.0.0.1:0", "--cut-for", "45s", "--every", "3s", "--state", file)
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- cmd.Wait() }()
	t.Cleanup(func() {
		_ = cmd.Process.Signal(os.Interrupt)
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("the demo ended with %v\n%s", err, out)
			}
		case <-time.After(30 * time.Second):
			_ = cmd.Process.Kill()
			t.Errorf("the demo did not end when asked to\n%s", out)
		}
	})
	for deadline := time.Now().Add(2 * time.Minute); time.Now().Before(deadline); time.Sleep(100 * time.Millisecond) {
		select {
		case err := <-done:
			done <- err
			t.Fatalf("the demo ended at its start: %v\n%s", err, out)
		default:
		}
		b, err := os.ReadFile(file)
		if err != nil {
			continue
		}
		var s demoState
		if err := json.Unmarshal(b, &s); err != nil {
			t.Fatal(err)
		}
		return s
	}
	t.Fatalf("the demo did not come up in two minutes\n%s", out)
	return demoState{}
}

// TestDemoInBrowser drives the demo in a real headless Chromium: signs in, sees
// the agent without network catch up, opens a shot and sees its traces, opens
// equipment and campaign. With THUDBOOK_PICTURES set to a folder, the screens
// are photographed in both widths and both colour schemes.
func TestDemoInBrowser(t *testing.T) {
	s := startDemo(t)
	b := browsertest.New(t)
	tab := b.Tab(t, s.Server)
	tab.Look(browsertest.Desktop)

	tab.Open("/")
	tab.Do(chromedp.SendKeys(chromedp.CSS(`input[name=name]`), s.Name),
		chromedp.SendKeys(chromedp.CSS(`input[name=password]`), s.Password))
	follow(t, tab, `main form button`)
	tab.Wait(`document.querySelector("h1") && document.body.innerText.includes("Larkmoor")`)
	look(t, tab, "server-overview")

	catchesUp(t, b, s)

	tab.Open("/shots?lab=" + s.Labs[s.Offline])
	tab.Wait(`document.querySelectorAll("main table tbody tr").length > 10`)
	look(t, tab, "server-shots")
	href := soundShot(tab, "&lab="+s.Labs[s.Offline])
	seesShot(t, tab, href, "server-shot")

	tab.Open("/equipment")
	text := browsertest.Eval[string](tab, `document.querySelector("main").innerText`)
	for _, want := range []string{"overdue", "R-te-01", "S-te-10"} {
		if !strings.Contains(text, want) {
			t.Errorf("the equipment screen does not show %q", want)
		}
	}
	look(t, tab, "server-equipment")

	tab.Open("/campaigns")
	look(t, tab, "server-campaigns")
	follow(t, tab, `main a[href^="/campaigns/"]`)
	tab.Wait(`location.pathname.startsWith("/campaigns/") && document.querySelectorAll("main table td").length > 4`)
	look(t, tab, "server-campaign")
	tab.Open("/agents")
	look(t, tab, "server-agents")
	tab.Check()

	agent := b.Tab(t, s.Agents["Larkmoor head impact lab"])
	agent.Look(browsertest.Desktop)
	agent.Open("/overview")
	agent.Wait(`document.querySelectorAll("main table tbody tr").length > 3`)
	look(t, agent, "agent-overview")
	agent.Open("/assign")
	look(t, agent, "agent-assign")
	seesShot(t, agent, soundShot(agent, ""), "agent-shot")
	agent.Check()
}

// follow clicks on something that leads to another page and waits for that page.
func follow(t *testing.T, tab *browsertest.Tab, css string) {
	t.Helper()
	if _, err := chromedp.RunResponse(tab.Ctx, chromedp.Click(chromedp.CSS(css))); err != nil {
		t.Fatalf("following %s: %v", css, err)
	}
}

// catchesUp sees on the agent's own screen that it works without network, and
// on the server that it then hands over all it has.
func catchesUp(t *testing.T, b *browsertest.Browser, s demoState) {
	t.Helper()
	tab := b.Tab(t, s.Agents[s.Offline])
	tab.Look(browsertest.Desktop)
	tab.Open("/overview")
	type syncAnswer struct {
		PendingRecords int `json:"pending_records"`
	}
	pending := func() int {
		return browsertest.Eval[syncAnswer](tab, `fetch("/api/v1/sync").then(r => r.json())`).PendingRecords
	}
	if n := pending(); n < 50 {
		t.Errorf("the agent without network has %d records to hand over, want its whole history", n)
	}
	look(t, tab, "agent-offline")
	for deadline := time.Now().Add(90 * time.Second); pending() > 0; time.Sleep(300 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("the agent still has %d records to hand over after 90 s", pending())
		}
	}
	look(t, tab, "agent-caught-up")
	tab.Check()
}

// soundShot gives the path of a shot that hit something: a dry stroke has a HIC, of
// noise, but no severity index.
func soundShot(tab *browsertest.Tab, query string) string {
	return browsertest.Eval[string](tab, `fetch("/api/v1/shots?limit=20`+query+`").then(r => r.json())
		.then(a => "/shots/" + a.shots.find(s => s.results && s.results.severity_index).id)`)
}

// seesShot opens a shot and waits until its traces are drawn by the script.
func seesShot(t *testing.T, tab *browsertest.Tab, href, name string) {
	t.Helper()
	if !strings.HasPrefix(href, "/shots/") {
		t.Fatalf("no link to a shot: %q", href)
	}
	tab.Open(href)
	tab.Wait(`document.getElementById("traces") && document.getElementById("traces").dataset.ready`)
	text := browsertest.Eval[string](tab, `document.querySelector("main").innerText`)
	for _, want := range []string{"Peak linear acceleration", "Severity index", "HIC, 15 ms", "m/s"} {
		if !strings.Contains(text, want) {
			t.Errorf("%s does not show %q", name, want)
		}
	}
	if n := browsertest.Eval[int](tab, `document.querySelectorAll("#traces canvas, #traces svg path, #traces svg polyline").length`); n == 0 {
		t.Errorf("%s shows no traces", name)
	}
	look(t, tab, name)
}

// look checks one screen in every look: no sideways scroll, nothing that
// axe-core finds in light and dark; and photographs it when asked to.
func look(t *testing.T, tab *browsertest.Tab, name string) {
	t.Helper()
	pictures := os.Getenv("THUDBOOK_PICTURES")
	for _, l := range []browsertest.Look{browsertest.Phone, browsertest.PhoneDark, browsertest.DesktopDark, browsertest.Desktop} {
		tab.Look(l)
		if n := tab.Sideways(); n > 0 {
			t.Errorf("%s at %s scrolls %d px sideways", name, l.Name(), n)
		}
		if l == browsertest.Desktop || l == browsertest.DesktopDark {
			for _, v := range tab.Axe(axeScript) {
				t.Errorf("%s at %s: %s", name, l.Name(), v)
			}
		}
		if pictures != "" {
			tab.Picture(pictures, name+"-"+l.Name())
		}
	}
}

// TestDemoStrangers: what the demo serves is closed to people who are not signed in.
func TestDemoStrangers(t *testing.T) {
	p := start(t, "server", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	c := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for path, want := range map[string]int{"/": 303, "/shots": 303, "/equipment": 303, "/api/v1/shots": 401, "/api/v1/labs": 401, "/healthz": 200, "/readyz": 200, "/metrics": 200, "/api/openapi.json": 200} {
		res, err := c.Get(p.url(path))
		if err != nil {
			t.Fatal(err)
		}
		if b := body(t, res); res.StatusCode != want {
			t.Errorf("%s answers %d to a stranger, want %d: %.200s", path, res.StatusCode, want, b)
		}
	}
	if code := p.stop(); code != exitOK {
		t.Errorf("the server ended with exit code %d", code)
	}
}

package server_test

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thudbook/sync/lab"
	"thudbook/web/browsertest"
)

// The story of a sensor that comes back 5 % off, in a real browser by keyboard
// alone: from the board to the certificate's shots, the course chosen, recorded,
// and the shot with its new result; once at a desk and once looked at on a phone.
func TestOutOfToleranceInBrowser(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Maple", 2)
	base := "/api/v1/labs/" + s.id.String()
	now := time.Now()
	sensor := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "AX-7", Name: "accelerometer X", CalibrationRequired: true})
	s.manager.make(base+"/mountings", map[string]any{"rig": s.Rig, "position": "ax", "item": sensor, "effective_at": now.AddDate(0, 0, -40)})
	s.manager.make(base+"/calibrations", map[string]any{"item": sensor, "effective_at": now.AddDate(0, 0, -40), "due_at": now.AddDate(1, 0, 0), "certificate": "K-1", "sensitivity": 1.0, "sensitivity_unit": "mV/g", "expanded_uncertainty_percent": 1.5})
	shot := s.fires("first", 80, now.AddDate(0, 0, -20), "HM-1")
	s.sync()
	s.manager.make(base+"/calibrations", map[string]any{"item": sensor, "effective_at": now.AddDate(0, 0, -2), "due_at": now.AddDate(1, 0, 0), "certificate": "K-2", "sensitivity": 1.0, "sensitivity_unit": "mV/g", "expanded_uncertainty_percent": 1.5, "as_found_sensitivity": 1.05, "as_found_limit_percent": 2.0})

	tab := browsertest.New(t).Tab(t, w.url)
	sound := func(where string) { t.Helper(); tab.Sound("../web/node_modules/axe-core/axe.min.js", where) }
	tab.Look(browsertest.Desktop)
	tab.Open("/signin")
	tab.Do(chromedp.SendKeys(chromedp.CSS(`input[name="name"]`), "maple.manager"))
	tab.Leave(`input[name="password"]`, "a long password of Maple"+kb.Enter)
	tab.Wait(`document.querySelector('nav a[href="/health"]') !== null`)
	tab.Open("/health")
	tab.Wait(`document.body.innerText.includes("sensitivity changed: outside its limit")`)
	sound("the board")
	tab.Leave(`.board a[href="/equipment/use/`+sensor.String()+`"]`, kb.Enter)
	tab.Wait(`document.querySelector('.notice a[href^="/reviews/new"]') !== null`)
	tab.Leave(`.notice a[href^="/reviews/new"]`, kb.Enter)
	tab.Wait(`document.body.innerText.includes("76.2")`) // 80 g over 1.05
	sound("the trial over the whole span")
	tab.Do(chromedp.SendKeys(chromedp.CSS(`input[name="course"][value="whole span"]`), kb.ArrowDown)) // to the straight line
	tab.Leave(`form[action="/reviews/new"] button`, kb.Enter)
	tab.Wait(`location.search.includes("course=linear") && document.body.innerText.includes("77.9")`) // 20 of 38 days: 80 / (1 + 0.05 × 20/38) = 77.95
	sound("the trial in a straight line")
	tab.Do(chromedp.SendKeys(chromedp.CSS(`form[action="/reviews"] button`), kb.Enter)) // nothing is filled in: the browser asks for the reason
	if !browsertest.Eval[bool](tab, `document.querySelector('textarea[name="why"]:invalid') !== null`) {
		t.Error("a review without a reason is sent")
	}
	tab.Do(chromedp.SendKeys(chromedp.CSS(`textarea[name="why"]`), "The drift was even."))
	tab.Leave(`form[action="/reviews"] input[name="number"]`, "NC-8"+kb.Enter)
	tab.Wait(`location.pathname.startsWith("/reviews/") && document.body.innerText.includes("report NC-8") && document.body.innerText.includes("1 → 2")`)
	sound("the report")
	tab.Look(browsertest.PhoneDark)
	sound("the report on a phone")
	tab.Leave(`a[href="/shots/`+shot+`"]`, kb.Enter)
	tab.Wait(`document.body.innerText.includes("Shown is result 2") && document.body.innerText.includes("Review NC-8")`)
	sound("the shot")
	tab.Check()
}

package server_test

import (
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thudbook/web/browsertest"
)

// A department books the rig in a real browser, by keyboard alone: taken, booked
// anyway with a reason, told as a clash in words, cancelled, and the clash is
// gone; at a desk, and the week looked at on a phone.
func TestBookingInBrowser(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Willow", 1)
	s.operator.form("/bookings", with(s.booking(8, 12, "Helmets"), "who", "ext. 12")).want(t, 303, "another department's booking")
	tab := browsertest.New(t).Tab(t, w.url)
	sound := func(where string) { t.Helper(); tab.Sound("../web/node_modules/axe-core/axe.min.js", where) }
	text := func(what string) string { return `document.body.innerText.includes("` + what + `")` }
	fill := func(form url.Values) {
		t.Helper()
		for field, v := range form {
			if field != "rig" {
				tab.Do(chromedp.SetValue(chromedp.CSS(`#book-`+field), v[0]))
			}
		}
	}
	tab.Look(browsertest.Desktop)
	tab.Open("/signin")
	tab.Do(chromedp.SendKeys(chromedp.CSS(`input[name="name"]`), "willow.manager"))
	tab.Leave(`input[name="password"]`, "a long password of Willow"+kb.Enter)
	tab.Leave(`nav a[href="/bookings"]`, kb.Enter)
	tab.Wait(`document.querySelector("ol.week") !== null && ` + text("Book the rig"))
	tab.Open(s.week(""))
	tab.Wait(text("08:00 to 12:00"))
	sound("the week")

	fill(s.booking(11, 14, "Guards"))
	tab.Allow("409")
	tab.Leave(`#book-department`, kb.Enter)
	tab.Wait(text("The rig is booked then: Helmets (ext. 12)") + ` && document.querySelector("#book-department").value === "Guards"`)
	sound("refused")
	tab.Leave(`#book-anyway`, "the customer is here"+kb.Enter)
	tab.Wait(text("the booking clashes with another one") + " && " + text("clash with Helmets") + " && " + text("clash with Guards") + " && " + text("Two bookings want the rig at one time"))
	sound("the clash")
	tab.Look(browsertest.PhoneDark)
	sound("the clash on a phone")
	tab.Look(browsertest.Desktop)

	link := firstBooking(t, s.manager.get(s.week("")).body, "Guards")
	tab.Leave(`a[href="`+link+`"]`, kb.Enter)
	tab.Wait(text("Another booking wants the rig at this time"))
	sound("the booking")
	tab.Do(chromedp.SendKeys(chromedp.CSS(`#cancel summary`), kb.Enter))
	tab.Wait(`document.querySelector("#cancel").open`)
	tab.Leave(`#cancel-reason`, "the customer cannot come"+kb.Enter)
	tab.Wait(text("The booking was cancelled.") + ` && !` + text("clash with") + ` && !` + text("Two bookings want"))
	if !browsertest.Eval[bool](tab, text("08:00 to 12:00")+` && !`+text("11:00 to 14:00")) {
		t.Error("the week after the cancelling is wrong")
	}
	sound("the week after it")
	tab.Check()
}

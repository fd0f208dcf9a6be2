package agent_test

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/chromedp/chromedp"

	"thudbook/agent"
	"thudbook/web/browsertest"
	"thudbook/web/picture/picturetest"
)

// The operator's whole day in a real browser with no server and no other
// network: by the keyboard alone on a desk, by touch alone on a tablet. The tab
// fails on any request to another place than the agent.
func TestWholeDayByKeyboard(t *testing.T) {
	wholeDay(t, browsertest.Desktop, false)
}

func TestWholeDayByTouch(t *testing.T) {
	wholeDay(t, browsertest.Look{Width: 820, Height: 1180, Phone: true}, true)
}

func wholeDay(t *testing.T, look browsertest.Look, touch bool) {
	watch := t.TempDir()
	r := start(t, func(o *agent.Options) { o.Watch, o.Rig = nil, "" })
	r.plant(campaign(t)) // it came from a server at some time
	put := func(name string, peakG float64) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(watch, name), []byte(csv(peakG)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	put("old.csv", 60)
	tab := browsertest.New(t).Tab(t, r.base)
	tab.Look(look)
	tab.Allow("the server responded with a status of 422")
	h := &hand{t: t, tab: tab, touch: touch}
	tab.Open("/")
	h.shows(`document.body.innerText.includes("No folder is watched")`)
	h.sound("the first screen")

	// The guided set-up.
	h.nav("/setup", "Five steps")
	h.sound("set-up, empty")
	h.fill("rig", "rig four")
	h.fill("folder", watch)
	h.leads(func() { h.press(`form[action="/setup/rig"] button`) }, "/setup", "old.csv")
	h.leads(func() { h.press(`form[action="/setup/file"]:has([name=newest]) button`) }, "/setup", "The channel map")
	h.sound("set-up, the map")
	for _, n := range []string{"c0", "c1", "c2"} {
		h.fill(n+"_unit", "g")
	}
	h.fill("c3_unit", "V")
	h.fill("c3_flag_mm", "25")
	h.fill("quiet_ms", "100")
	h.pick("old_files", "too")
	h.leads(func() { h.press(`button[name=do][value=save]`) }, "/setup", "The folder is watched now")
	h.sound("set-up, done")
	r.until("the file that was there is taken in", func() bool { return regexp.MustCompile(`1 shot\b`).MatchString(r.get("/shots").body) })

	// Ready: nothing is in the register yet, so it asks why one goes on.
	h.nav("/ready", "not ready")
	h.sound("ready")
	h.fill("reason", "the register is not filled in yet")
	h.leads(func() { h.press(`form[action="/ready/on"] button`) }, "/ready", "going on with a reason")
	h.sound("ready, going on")

	// The system check on the pad.
	h.nav("/check", "Do a system check")
	h.sound("system check")
	h.fill("reference_pad", "P-17")
	h.fill("target_speed_m_s", "5")
	h.fill("pressure", "140")
	confirmed := func(form string) {
		t.Helper()
		h.leads(func() { h.press(form + ` button`) }, "/result", "Waiting for the file")
	}
	confirmed(`form[action="/next/confirm"]:has([name=reference_pad])`)
	h.sound("the wait")
	put("pad.csv", 70)
	h.shows(`!document.body.innerText.includes("Waiting for the file") && /system check/i.test(document.querySelector("main").innerText)`)
	h.sound("the result of the check")
	h.leads(func() { h.press(`form[action="/result/accept"] button`) }, "/next", "FG-01, front")

	// A shot that is accepted, one that is void, and the hit is in the order again.
	h.sound("next")
	plan := `form[action="/next/confirm"]:has([name=campaign])`
	shot := func(file string, peakG float64) {
		t.Helper()
		h.fill("pressure", "141")
		confirmed(plan)
		put(file, peakG)
		h.shows(`document.body.innerText.includes("within ±0.10 m/s") && !document.body.innerText.includes("Waiting for the file")`)
	}
	shot("a.csv", 93)
	h.sound("the result")
	h.press(`details#void > summary`)
	h.fill("reason", "chin strap open")
	h.leads(func() { h.press(`form[action="/result/void"] button`) }, "/next", "FG-01, front")
	shot("b.csv", 94)
	inspect := browsertest.Eval[string](tab, `[...document.querySelectorAll("main a.button")].find((a) => a.textContent === "Inspect the specimen").getAttribute("href")`)
	h.leads(func() { h.press(`form[action="/result/accept"] button`) }, "/next", "FG-01, side")

	// The inspection, with a photo.
	h.nav("/result", "Inspect the specimen")
	h.leads(func() { h.press(`main a[href="` + inspect + `"]`) }, inspect, "What you see")
	h.sound("the inspection")
	h.pick("bar_grade", "damaged")
	h.fill("bar_mm", "2,5")
	h.fill("bar_note", "upper bar bent")
	h.pick("weld_grade", "sound")
	h.pick("face_contact", "no")
	h.pick("verdict", "passed")
	photo := filepath.Join(t.TempDir(), "bar.jpg")
	if err := os.WriteFile(photo, picturetest.JPEG(t, picturetest.Corners(640, 480), picturetest.Tags{}, 0), 0o600); err != nil {
		t.Fatal(err)
	}
	tab.Do(chromedp.SetUploadFiles(chromedp.CSS(`#photo`), []string{photo})) // the system's own dialogue is no page
	h.shows(`document.querySelectorAll("#photos .photos li").length === 1`)
	h.sound("the inspection, filled in")
	h.press(`form#inspect button.primary`)
	h.shows(`location.pathname !== ` + "`" + inspect + "`" + ` && document.body.innerText.includes("upper bar bent")`)
	h.sound("the shot, inspected")
	if n := browsertest.Eval[int](tab, `document.querySelectorAll(".photos img").length`); n < 1 {
		t.Error("the photo is not on the screen of the shot")
	}

	// Dry strokes, a note, and the report of the day.
	h.nav("/strokes", "Dry strokes")
	h.fill("number", "3")
	h.leads(func() { h.press(`form[action="/strokes"] button`) }, "/strokes", "3 dry strokes")
	h.sound("strokes")
	h.nav("/log", "Add an entry")
	h.press(`details#entry > summary`)
	h.pick("topic", "note")
	h.fill("text", "hall at 24 °C")
	h.leads(func() { h.press(`form[action="/log"] button.primary`) }, "/log", "hall at 24 °C")
	h.sound("log")
	h.nav("/day", "Day report")
	h.sound("the report of the day")
	text := browsertest.Eval[string](tab, `document.querySelector("main").innerText`)
	for _, want := range []string{`P-17`, `FG-01, front, cold`, `void\s+chin strap open`, `accepted`, `3 dry strokes`, `hall at 24 °C`, `upper bar bent`, `the register is not filled in yet`} {
		if !regexp.MustCompile(want).MatchString(text) {
			t.Errorf("the report of the day lacks %s:\n%s", want, text)
		}
	}
	if n := len(r.rows("/day.csv")); n < 8 {
		t.Errorf("%d rows in the table of the day", n)
	}
	tab.Check()
}

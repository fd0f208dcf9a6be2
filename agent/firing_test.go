package agent_test

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"thudbook/sync/home"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger"
	"thudbook/sync/scope"
)

// plant writes facts into the store of an agent, as if a server had sent them.
func (r *running) plant(drafts ...ledger.Draft) {
	r.t.Helper()
	if err := r.stop(); err != nil {
		r.t.Fatal(err)
	}
	h, err := home.Open(context.Background(), home.Options{Dir: r.opt.Data, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		r.t.Fatal(err)
	}
	labs, err := h.Reader.Labs(context.Background(), scope.All(), 0)
	if err != nil || len(labs) != 1 {
		r.t.Fatalf("labs %v %v", labs, err)
	}
	labtest.Append(r.t, h.Ledger, labs[0].Lab, drafts...)
	if err := h.Close(); err != nil {
		r.t.Fatal(err)
	}
	r.run()
}

func campaign(t *testing.T) ledger.Draft {
	return labtest.Draft(t, labtest.ID("campaign"), &lab.Campaign{Name: "Guards, first series", Specimens: []string{"FG-01", "FG-02"},
		Cells:            []lab.Cell{{Location: "front", Condition: "cold", TargetSpeedMS: 5.0, ToleranceMS: 0.1, Planned: 1}, {Location: "side", TargetSpeedMS: 5.0, ToleranceMS: 0.1, Planned: 1}},
		AcceptanceLimits: []lab.Limit{{Result: "peak_linear_acceleration", Most: 100, Unit: "g"}}})
}

// fields reads the form that posts to a path as a person would send it.
func fields(t *testing.T, body, action string) url.Values {
	t.Helper()
	for _, f := range regexp.MustCompile(`(?s)<form[^>]*>.*?</form>`).FindAllString(body, -1) {
		if !strings.Contains(f, `action="`+action+`"`) {
			continue
		}
		v := url.Values{}
		for _, m := range regexp.MustCompile(`<input[^>]*name="([^"]+)"[^>]*?(?: value="([^"]*)")?[ >]`).FindAllStringSubmatch(f, -1) {
			v.Set(m[1], m[2])
		}
		for _, m := range regexp.MustCompile(`name="(pressure|key|reason)" value="([^"]*)"`).FindAllStringSubmatch(f, -1) {
			v.Set(m[1], m[2])
		}
		return v
	}
	t.Fatalf("no form posts to %s", action)
	return nil
}

func (r *running) send(path string, v url.Values, to string) {
	r.t.Helper()
	if a := r.form(path, v); a.status != http.StatusSeeOther || !strings.HasPrefix(a.header.Get("Location"), to) {
		r.t.Fatalf("POST %s = %d to %q\n%s", path, a.status, a.header.Get("Location"), a.body)
	}
}

// A day of shots by the forms of the screens: next, result, next.
func TestNextAndResult(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.page("/", "There is no campaign on this computer", "A free shot", "people clear of the ram")
	r.plant(campaign(t))
	next := r.page("/next", "FG-01, front, cold", "hit 1 of 1", "No pressure is proposed", "Thudbook never fires",
		"at three pressures, one after the other from low to high, none above what is marked on the rig", `href="/next?kind=dry#free"`)
	r.page("/next?kind=dry", `<details id="free" open>`, `value="dry" selected`)
	r.send("/next/out", fields(t, next, "/next/out"), "/next")
	next = r.page("/next", "It is back in")
	v := fields(t, next, "/next/confirm")
	v.Set("pressure", "fast")
	if a := r.form("/next/confirm", v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, `value="fast"`) {
		t.Errorf("a pressure that is none = %d", a.status)
	}
	v.Set("pressure", "141")
	v.Set("ambient_c", "21,5")
	for range 2 { // sent twice by mistake
		r.send("/next/confirm", v, "/result")
	}
	if a := r.get("/next"); a.status != http.StatusSeeOther {
		t.Errorf("/next while a shot waits = %d", a.status)
	}
	r.page("/result", "Waiting for the file of FG-01, front, 141.0 kPa", "after 0.1 s without a change (rule quiet)", "Waiting for the file since <time")
	r.write("bad.csv", "nothing that counts\n")
	r.until("the bad file on the screen", func() bool {
		return strings.Contains(r.get("/result").body, "bad.csv came, and nothing in it can be read")
	})
	r.write("a.csv", csv(93))
	r.until("the result", func() bool { return !strings.Contains(r.get("/result").body, "Waiting for the file") })
	res := r.page("/result", "FG-01, front", "5.00 m/s, within ±0.10 m/s", "Peak linear acceleration", "within the limit", "<svg", "Accept, and next")
	id := fields(t, res, "/result/accept").Get("shot")
	r.page("/shots/"+id, "FG-01", "cold", "141.0", "21.5", "typed", "Time out of the chamber")
	r.send("/result/accept", fields(t, res, "/result/accept"), "/next?accepted="+id)
	r.page("/next?accepted="+id, "FG-01, front, cold: Accepted at the rig at ")
	if strings.Contains(r.page("/next"), "Accepted at the rig") {
		t.Error("the word on what was accepted does not go")
	}
	r.page("/result", "Accepted at the rig at ")
	r.page("/next", "FG-01, side", "1</span> done")

	// A second file of one trigger is another shot, with its flag.
	r.write("a2.csv", csv(94))
	r.until("the second file", func() bool { return strings.Contains(r.get("/result").body, "second file") })
	r.page("/assign", "a2.csv")

	// Made void, the hit is in the order again.
	v = fields(t, r.page("/next"), "/next/confirm")
	v.Set("pressure", "141")
	r.send("/next/confirm", v, "/result")
	r.write("b.csv", csv(120))
	r.until("the result", func() bool { return strings.Contains(r.get("/result").body, "above the limit") })
	r.page("/next", "FG-02, front")
	v = fields(t, r.page("/result"), "/result/void")
	if a := r.form("/result/void", v); a.status != http.StatusUnprocessableEntity {
		t.Errorf("void without a reason = %d", a.status)
	}
	v.Set("reason", "chin strap open")
	r.send("/result/void", v, "/next")
	r.page("/next", "FG-01, side")
	r.page("/result", "void: chin strap open", "in the run order again")
	r.page("/shots/"+v.Get("shot"), "Correct it, or count it again")

	// Skipped, put back, moved.
	step := url.Values{"campaign": {labtest.ID("campaign").String()}, "specimen": {"FG-01"}, "location": {"side"}, "target_speed_m_s": {"5"}, "hit": {"1"}}
	change := func(do string, more url.Values) {
		t.Helper()
		w := url.Values{"do": {do}}
		for _, from := range []url.Values{step, more} {
			for k := range from {
				w.Set(k, from.Get(k))
			}
		}
		r.send("/next/order", w, "/next?campaign=")
	}
	step.Set("do", "skip")
	if a := r.form("/next/order", step); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, `<details id="order" open>`) || !strings.Contains(a.body, "Say why it is skipped.") || !strings.Contains(a.body, "The hit was not skipped") || strings.Count(a.body, `aria-invalid="true"`) != 1 {
		t.Errorf("skipped without a reason = %d\n%s", a.status, a.body)
	}
	step.Del("do")
	change("skip", url.Values{"reason": {"shell cracked"}})
	r.page("/next", "FG-02, front", "skipped: shell cracked", "1</span> skipped")
	for _, path := range []string{"/day", "/log", "/log?kind=skipped"} {
		r.page(path, "skipped", "FG-01, side, 5.00\u00a0m/s, hit 1", "shell cracked")
	}
	change("back", nil)
	r.page("/log", "put back", "it is to be fired after all")
	change("last", nil)
	r.page("/next", "FG-02, front, cold")
	change("before", url.Values{"before_specimen": {"FG-02"}, "before_location": {"front"}, "before_condition": {"cold"}, "before_target_speed_m_s": {"5"}, "before_hit": {"1"}})
	r.page("/next", "FG-01, side")

	// Not fired; fired without a file.
	for _, fired := range []string{"", "yes"} {
		v = fields(t, r.page("/next"), "/next/confirm")
		v.Set("pressure", "141")
		r.send("/next/confirm", v, "/result")
		e := fields(t, r.page("/result"), "/result/end").Get("expected")
		if a := r.form("/result/end", url.Values{"expected": {e}, "fired": {fired}}); a.status != http.StatusUnprocessableEntity {
			t.Errorf("an end without a reason = %d", a.status)
		}
		r.send("/result/end", url.Values{"expected": {e}, "fired": {fired}, "reason": {"acquisition not armed"}}, "/next")
		r.page("/next", "FG-01, side")
	}
}

// A free shot takes two choices and a confirmation; pressures are in the lab's unit.
func TestFreeShotInPsi(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.send("/next/unit", url.Values{"pressure": {"psi"}}, "/next")
	v := fields(t, r.page("/", "psi"), "/next/confirm")
	v.Set("kind", "dry")
	v.Set("pressure", "20")
	r.send("/next/confirm", v, "/result")
	r.page("/result", "Waiting for the file of dry stroke, 20.0 psi")
	r.write("a.csv", csv(2))
	r.until("the result", func() bool { return !strings.Contains(r.get("/result").body, "Waiting for the file") })
	// 1 psi is 6.894757 kPa (NIST SP 811).
	got := r.get("/api/v1/shots").json(t)["shots"].([]any)[0].(map[string]any)
	if p := got["meta"].(map[string]any)["tank_pressure_kpa_gauge"].(float64); fmt.Sprintf("%.3f", p) != "137.895" || got["kind"] != "dry" {
		t.Errorf("20 psi came back as %g kPa of a %s", p, got["kind"])
	}
}

// A file that is being written before a shot is confirmed is told of on Next.
func TestFileThatGrowsIsToldOfOnNext(t *testing.T) {
	r := start(t)
	r.write("map.toml", strings.Replace(mapText, "quiet_ms = 100", "rule = \"rows\"\nrows = 1200", 1))
	whole := csv(60)
	r.write("a.csv", whole[:len(whole)/2])
	r.until("it is told of", func() bool {
		b := r.get("/next").body
		return strings.Contains(b, "Waiting, a.csv") && strings.Contains(b, "before a shot is confirmed is not taken for it")
	})
	r.write("a.csv", whole)
	r.until("it is taken in", func() bool { return !strings.Contains(r.get("/next").body, "Waiting, a.csv") })
	r.shots(1)
}

// A second tab that confirms the same shot at the same pressure is led to its
// wait; with another pressure it is told what waits, and keeps what was typed.
func TestConfirmedInTwoTabs(t *testing.T) {
	r := start(t)
	r.plant(campaign(t))
	r.saved("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"4711"}})
	one, two := fields(t, r.page("/next"), "/next/confirm"), fields(t, r.page("/next"), "/next/confirm")
	one.Set("pressure", "141")
	r.send("/next/confirm", one, "/result")
	two.Set("pressure", "141,0")
	r.send("/next/confirm", two, "/result")
	two.Set("pressure", "152")
	a := r.form("/next/confirm", two)
	if a.status != http.StatusConflict {
		t.Errorf("another pressure = %d", a.status)
	}
	for _, want := range []string{"Nothing was recorded: FG-01, front, 141.0", "was confirmed 20", "by Wilma Quill", `href="/result">See what waits</a>`, `value="152"`} {
		if !strings.Contains(a.body, want) {
			t.Errorf("the answer to another pressure lacks %q", want)
		}
	}
	two.Del("campaign")
	if a := r.form("/next/confirm", two); a.status != http.StatusConflict || !strings.Contains(a.body, `value="152"`) {
		t.Errorf("a free shot meanwhile = %d", a.status)
	}
	if n := strings.Count(r.page("/result"), "Waiting for the file of"); n != 1 {
		t.Errorf("%d shots wait", n)
	}
}

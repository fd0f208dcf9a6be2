package agent_test

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

func TestScreensOfAnEmptyStore(t *testing.T) {
	r := start(t)
	r.page("/overview", "Overview", "No shot yet", "Invented lab, rig nine", "no server set", r.opt.Watch[0], "never fires")
	r.page("/shots", "No shot has been taken in yet")
	r.page("/assign", "Nothing waits")
	r.page("/quarantine", "Quarantine is empty")
	r.page("/seen", "No file has come twice")
	r.page("/connect", "Connect to a server", "One-time code", "Fingerprint of this agent")
	r.page("/manual", "Manual")
	r.page("/manual/flags", "incomplete_file", "meta_unreadable", "saturated")
	r.page("/licences")
	for _, path := range []string{"/shots/nothing", "/shots/00000000-0000-4000-8000-000000000000", "/manual/nothing", "/nowhere"} {
		if a := r.get(path); a.status != http.StatusNotFound || !strings.Contains(a.body, "<html") {
			t.Errorf("GET %s = %d, want an error screen", path, a.status)
		}
	}
}

// cautions are what every screen of the agent ends with.
const cautions = "people clear, guard closed, before it is charged. Vent the tank and lock it out before reaching in"

func TestCautionsOnEveryScreen(t *testing.T) {
	r := start(t)
	if a := r.post(part{"file", "a.csv", csv(60)}); a.status != http.StatusCreated {
		t.Fatalf("post = %d %s", a.status, a.body)
	}
	id := r.get("/api/v1/shots").json(t)["shots"].([]any)[0].(map[string]any)["id"].(string)
	for _, path := range []string{"/", "/next", "/result", "/day", "/overview", "/shots", "/shots/" + id, "/assign", "/quarantine", "/seen", "/rig", "/ready", "/setup", "/connect", "/licences", "/nowhere", "/shots/nothing",
		"/manual", "/manual/files", "/manual/flags", "/manual/numbers", "/manual/cautions", "/manual/network", "/manual/rig", "/manual/first"} {
		if a := r.get(path); !strings.Contains(a.body, cautions) {
			t.Errorf("GET %s = %d does not show the cautions", path, a.status)
		}
	}
	for path, v := range map[string]url.Values{"/shots/" + id + "/assign": {"kind": {"shot"}, "target_speed_m_s": {"fast"}}, "/connect": {"server": {"x"}, "code": {"y"}}} {
		if a := r.form(path, v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, cautions) {
			t.Errorf("POST %s = %d does not show the cautions", path, a.status)
		}
	}
	r.page("/manual", `href="/assign"`)
}

func TestLongListsSaySo(t *testing.T) {
	r := start(t)
	for i := range 101 {
		if a := r.post(part{"file", "bad.csv", strings.Repeat("no number in here\n", i+1)}); a.status != http.StatusUnprocessableEntity {
			t.Fatalf("post = %d %s", a.status, a.body)
		}
		if i == 99 && strings.Contains(r.page("/quarantine"), "Only the first") {
			t.Error("a list that is whole says that it is not")
		}
	}
	r.page("/quarantine", "Only the first 100 are shown.")
}

// TestDay goes through what an operator does, by the forms of the screens.
func TestDay(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.write("shot-001.csv", csv(93))
	r.write("notes.csv", "nothing that counts\n")
	r.until("the shot and the quarantine on the overview", func() bool {
		b := r.get("/overview").body
		return strings.Contains(b, "Last shot") && strings.Contains(b, "to assign") && strings.Contains(b, "in quarantine")
	})
	home := r.page("/overview", "93.", "5.00", "invented rig", "Not assigned yet", `data-refresh="2"`)
	id := regexp.MustCompile(`/shots/([0-9a-f-]{36})`).FindStringSubmatch(home)[1]
	r.page("/quarantine", "notes.csv", "What to do")
	r.page("/shots/"+id, "shot-001.csv", "Peak linear acceleration", "<svg", "CFC 1000", "What the file did not say", "Download the original", "Invented lab")
	r.page("/assign", "shot-001.csv", "specimen")

	// A mistake keeps what was typed and names the field.
	bad := r.form("/shots/"+id+"/assign", url.Values{"kind": {"shot"}, "specimen": {"H-21"}, "target_speed_m_s": {"fast"}})
	if bad.status != http.StatusUnprocessableEntity || !strings.Contains(bad.body, `value="H-21"`) || !strings.Contains(bad.body, "is not a number") {
		t.Errorf("bad form = %d", bad.status)
	}
	if two := r.form("/shots/"+id+"/assign", url.Values{"kind": {"shot"}, "tank_pressure_kpa_gauge": {"1,500"}}); two.status != http.StatusUnprocessableEntity || !strings.Contains(two.body, "write 1500 or 1.5") {
		t.Errorf("a number that can be read in two ways = %d", two.status)
	}
	good := url.Values{"kind": {"shot"}, "specimen": {"H-21"}, "location": {"front"}, "target_speed_m_s": {"5,0"}, "tank_pressure_kpa_gauge": {"140"}}
	for range 2 { // sent twice by mistake
		if a := r.form("/shots/"+id+"/assign", good); a.status != http.StatusSeeOther || a.header.Get("Location") != "/shots/"+id {
			t.Fatalf("assign = %d %s", a.status, a.body)
		}
	}
	if b := r.page("/shots/"+id, "H-21", "140.0", "typed"); strings.Contains(b, "What the file did not say") {
		t.Error("the shot still waits")
	}
	r.page("/assign", "Nothing waits")
	r.page("/shots?specimen=h-21", "H-21")
	r.correct(id)

	// The same bytes under a new name, and the answer to the question.
	if err := os.Rename(filepath.Join(r.opt.Watch[0], "shot-001.csv"), filepath.Join(r.opt.Watch[0], "copy.csv")); err != nil {
		t.Fatal(err)
	}
	var seen string
	r.until("seen again", func() bool {
		m := regexp.MustCompile(`action="(/seen/[0-9a-f-]{36})"`).FindStringSubmatch(r.get("/seen").body)
		if m != nil {
			seen = m[1]
		}
		return m != nil
	})
	r.page("/seen", "copy.csv", "shot-001.csv", "H-21")
	if a := r.form(seen, url.Values{"verdict": {"perhaps"}}); a.status != http.StatusUnprocessableEntity {
		t.Errorf("no answer = %d", a.status)
	}
	for range 2 {
		if a := r.form(seen, url.Values{"verdict": {"stroke"}}); a.status != http.StatusSeeOther {
			t.Errorf("answer = %d %s", a.status, a.body)
		}
	}
	r.page("/seen", "No file has come twice")
}

func TestWhatWaitsIsOnTheOverview(t *testing.T) {
	r := start(t)
	r.write("map.toml", strings.Replace(mapText, "quiet_ms = 100", "rule = \"marker\"\nmarker = \".done\"", 1))
	r.write("slow.csv", csv(40))
	r.until("the wait in words", func() bool {
		return strings.Contains(r.get("/overview").body, "Waiting, slow.csv: waiting for the marker file slow.csv.done")
	})
	r.write("map.toml", "name = \"\n")
	r.until("the broken map in words", func() bool {
		return strings.Contains(r.get("/overview").body, "The channel map cannot be used")
	})
	in := r.get("/api/v1/intake").json(t)["folders"].([]any)[0].(map[string]any)
	if in["problem"] == nil || in["fix"] == nil || len(in["waiting"].([]any)) != 1 {
		t.Errorf("intake = %v", in)
	}
}

func TestConnectForm(t *testing.T) {
	r := start(t)
	for _, f := range []url.Values{
		{"server": {"not an address"}, "code": {"ABCDE"}},
		{"server": {"http://127.0.0.1:9"}, "code": {""}},
		{"server": {"http://127.0.0.1:9"}, "code": {"ABCDE-FGHJK"}},
	} {
		a := r.form("/connect", f)
		if a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, `aria-invalid="true"`) {
			t.Errorf("%v = %d", f, a.status)
		}
	}
}

// correct goes through the forms that change an assigned shot.
func (r *running) correct(id string) {
	r.t.Helper()
	seen := func() string {
		return regexp.MustCompile(`name="seen" value="([0-9a-f]+)"`).FindStringSubmatch(r.page("/shots/"+id, "Correct what is recorded"))[1]
	}
	old := seen()
	values := url.Values{"kind": {"shot"}, "specimen": {"H-22"}, "location": {"rear"}, "target_speed_m_s": {"5.0"}, "seen": {old}}
	for range 2 { // sent twice by mistake
		if a := r.form("/shots/"+id+"/correct", values); a.status != http.StatusSeeOther {
			r.t.Fatalf("correct = %d %s", a.status, a.body)
		}
	}
	r.page("/shots/"+id, "H-22", "rear", "History", "at the rig", "as taken in")
	values.Set("specimen", "H-23")
	if a := r.form("/shots/"+id+"/correct", values); a.status != http.StatusConflict || !strings.Contains(a.body, "Somebody else changed this shot") {
		r.t.Errorf("a correction from an old screen = %d", a.status)
	}
	values.Set("target_speed_m_s", "5000")
	if a := r.form("/shots/"+id+"/correct", values); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "is outside 0.1 to 100 m/s") || !strings.Contains(a.body, `value="H-23"`) {
		r.t.Errorf("a wrong correction = %d", a.status)
	}
	if a := r.form("/shots/"+id+"/void", url.Values{"void": {"yes"}, "reason": {" "}, "seen": {seen()}}); a.status != http.StatusUnprocessableEntity {
		r.t.Errorf("void without a reason = %d", a.status)
	}
	if a := r.form("/shots/"+id+"/void", url.Values{"void": {"yes"}, "reason": {"strap came loose"}, "seen": {seen()}}); a.status != http.StatusSeeOther {
		r.t.Errorf("void = %d", a.status)
	}
	r.page("/shots/"+id, "void: strap came loose", "Count it again")
	if a := r.form("/shots/"+id+"/void", url.Values{"void": {"no"}, "reason": {"it was on"}, "seen": {seen()}}); a.status != http.StatusSeeOther {
		r.t.Errorf("count again = %d", a.status)
	}
	if b := r.page("/shots/"+id, "Made void", "Counts again", "it was on"); strings.Contains(b, "Count it again") {
		r.t.Error("the shot is still void")
	}
	values.Set("specimen", "H-21")
	values.Set("target_speed_m_s", "5.0")
	values.Set("seen", seen())
	if a := r.form("/shots/"+id+"/correct", values); a.status != http.StatusSeeOther {
		r.t.Errorf("correct back = %d", a.status)
	}
}

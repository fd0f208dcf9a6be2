package agent_test

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"thudbook/web/picture/picturetest"
)

// Each section of the manual's page about bad days is a part of this test, or
// names the test that holds it; a section that nobody tests is a fault.
func TestBadDays(t *testing.T) {
	elsewhere := map[string]string{ // section: file of the test, and its name
		"power-cut": "../cmd/thudbook/draft_linux_test.go TestKilledDuringAnInspection",
		"clock":     "intake/clockback_test.go TestClockSetBackAYear",
	}
	parts := map[string]func(*testing.T){
		"two-files": twoFiles, "slow-writer": slowWriter, "unplanned": unplanned, "missing-channel": missingChannel, "photos": sidewaysPhoto, "share": shareVanishes, "operators": operatorsChange, "clock": timeOfFiring,
	}
	text, err := os.ReadFile("../web/manual/pages/baddays.md")
	if err != nil {
		t.Fatal(err)
	}
	var sections []string
	for _, m := range regexp.MustCompile(`(?m)^## .*\{#([a-z-]+)\}`).FindAllStringSubmatch(string(text), -1) {
		sections = append(sections, m[1])
	}
	for _, s := range sections {
		if at := elsewhere[s]; at != "" {
			file, name, _ := strings.Cut(at, " ")
			b, err := os.ReadFile(file)
			if err != nil || !strings.Contains(string(b), "func "+name+"(") {
				t.Errorf("section %s: no %s in %s: %v", s, name, file, err)
			}
		} else if parts[s] == nil {
			t.Errorf("nothing tests the section %q of the manual", s)
		}
		if parts[s] != nil {
			t.Run(s, parts[s])
		}
	}
	for s := range parts {
		if !slices.Contains(sections, s) {
			t.Errorf("the manual has no section %q", s)
		}
	}
}

// shots waits until there are n, and gives their ids by file name.
func (r *running) shots(n int) map[string]string {
	r.t.Helper()
	out := map[string]string{}
	r.until("the shots", func() bool {
		clear(out)
		for _, s := range r.get("/api/v1/shots").json(r.t)["shots"].([]any) {
			m := s.(map[string]any)
			out[m["file"].(string)] = m["id"].(string)
		}
		return len(out) >= n
	})
	if len(out) != n {
		r.t.Fatalf("%d shots, want %d: %v", len(out), n, out)
	}
	return out
}

// confirmed confirms the next planned hit.
func (r *running) confirmed() {
	r.t.Helper()
	v := fields(r.t, r.page("/next"), "/next/confirm")
	v.Set("pressure", "141")
	r.send("/next/confirm", v, "/result")
}

func (r *running) fileCame() {
	r.t.Helper()
	r.until("the wait is over", func() bool { return !strings.Contains(r.get("/result").body, "Waiting for the file") })
}

func twoFiles(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.write("first.csv", csv(60))
	r.shots(1)
	r.plant(append(r.mounted(), campaign(t))...)
	r.page("/strokes", "1 stroke of 500")
	r.confirmed()
	r.write("a.csv", csv(93))
	r.fileCame()
	r.write("a-2.csv", csv(94)) // the second file of the same trigger
	ids := r.shots(3)
	r.page("/shots/"+ids["a.csv"], "FG-01", "cold")
	r.page("/shots/"+ids["a-2.csv"], "second file", "#flag-second_file")
	r.page("/assign", "a-2.csv")
	r.page("/strokes", "3 strokes of 500") // both count
	// Said to be of one trigger it is neither a shot nor a stroke, and the result is that of the first again.
	body := r.page("/result", "A second file of the stroke before", "/shots/"+ids["a.csv"])
	r.send("/result/second", fields(t, body, "/result/second"), "/result")
	if got := r.page("/result", "FG-01", "Accept, and next"); strings.Contains(got, ids["a-2.csv"]) {
		t.Error("the second file is still the result")
	}
	if strings.Contains(r.page("/assign"), "a-2.csv") {
		t.Error("it still waits to be assigned")
	}
	r.page("/strokes", "2 strokes of 500")
	r.page("/shots", "second file of a stroke")
	r.send("/shots/"+ids["a-2.csv"]+"/void", voided(t, r.page("/shots/"+ids["a-2.csv"])), "/shots/")
	r.page("/strokes", "2 strokes of 500") // void or not
	// Assigned as a stroke of its own, it is no second file any more.
	r.write("b.csv", csv(95))
	other := r.shots(4)["b.csv"]
	r.page("/shots/"+other, "#flag-second_file")
	r.send("/shots/"+other+"/assign", url.Values{"kind": {"shot"}, "specimen": {"FG-02"}, "location": {"side"}, "target_speed_m_s": {"5"}}, "/shots/")
	for _, path := range []string{"/shots/" + other, "/result"} {
		if strings.Contains(r.page(path, "FG-02"), "#flag-second_file") {
			t.Errorf("%s still calls it a second file", path)
		}
	}
	// The same bytes under another name are no second shot.
	r.write("a-copy.csv", csv(93))
	r.until("it is seen again", func() bool { return strings.Contains(r.get("/seen").body, "a-copy.csv") })
	r.shots(4)
	r.page("/strokes", "3 strokes of 500")
	seen := regexp.MustCompile(`action="(/seen/[0-9a-f-]{36})"`).FindStringSubmatch(r.page("/seen", "a.csv"))
	r.send(seen[1], url.Values{"verdict": {"stroke"}}, "/seen") // the ram did move
	r.page("/strokes", "4 strokes of 500")
}

func voided(t *testing.T, body string) url.Values {
	t.Helper()
	m := regexp.MustCompile(`action="(/shots/[0-9a-f-]{36}/void)"`).FindStringSubmatch(body)
	if m == nil {
		t.Fatal("no form makes it void")
	}
	v := fields(t, body, m[1])
	v.Set("reason", "second file of one trigger")
	return v
}

func unplanned(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.write("free.csv", csv(93))
	id := r.shots(1)["free.csv"]
	r.plant(append(r.mounted(), campaign(t))...)
	r.page("/shots/"+id, "Peak linear acceleration") // it is scored
	r.page("/assign", "free.csv")
	r.page("/strokes", "1 stroke of 500")
	r.page("/next", "0</span> done")
	r.send("/shots/"+id+"/assign", url.Values{"kind": {"shot"}, "specimen": {"FG-01"}, "location": {"front"}, "condition": {"cold"}, "target_speed_m_s": {"5"}}, "/")
	if strings.Contains(r.page("/assign"), "free.csv") {
		t.Error("assigned, it still waits")
	}
	r.page("/next", "FG-01, side", "1</span> done")
	r.page("/strokes", "1 stroke of 500")
}

func missingChannel(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	broken := strings.Split(csv(93), "\n")
	cells := strings.Split(broken[500], ",")
	cells[3] = "#n/a"
	broken[500] = strings.Join(cells, ",")
	r.write("cable.csv", strings.Join(broken, "\n"))
	r.write("without.csv", strings.ReplaceAll(csv(80), ",az", ",other"))
	none := "nobody wrote a number into this\n"
	r.write("none.csv", none)
	ids := r.shots(2)
	r.page("/shots/"+ids["cable.csv"], "channel unreadable", "line 501", "column 4", "channel az", "5.00") // the light gate is read all the same
	r.page("/shots/"+ids["cable.csv"], "Peak linear acceleration", "not computed, channel az could not be read")
	r.page("/shots/"+ids["without.csv"], "channel unreadable", "az", "5.00")
	r.until("the file in which nothing can be read", func() bool { return strings.Contains(r.get("/quarantine").body, "none.csv") })
	link := regexp.MustCompile(`href="(/quarantine/[0-9a-f-]{36}/file)"`).FindStringSubmatch(r.page("/quarantine"))
	if a := r.get(link[1]); a.status != http.StatusOK || a.body != none {
		t.Errorf("its bytes = %d %q", a.status, a.body)
	}

	// A planned hit is not accepted in silence: the question stays until one of
	// its two answers was given.
	r.plant(append(r.mounted(), campaign(t))...)
	asks := func(file, content, missing string) (string, string) {
		t.Helper()
		r.confirmed()
		r.write(file, content)
		r.fileCame()
		question := "Missing: " + missing + ". Keep the shot, or void it"
		r.until("the question", func() bool { return strings.Contains(r.get("/result").body, question) })
		body := r.page("/result")
		if strings.Contains(body, "Accept, and next") {
			t.Error("it can be accepted past the question")
		}
		shot := fields(t, body, "/result/accept").Get("shot")
		for _, path := range []string{"/next", "/assign"} {
			if b := r.page(path, "lacks "+missing, "/shots/"+shot+"#gap"); !strings.Contains(b, "FG-01") {
				t.Errorf("%s does not name the hit", path)
			}
		}
		r.page("/shots/"+shot, question)
		return shot, body
	}
	settled := func(done string) {
		t.Helper()
		if b := r.page("/next", done+"</span> done"); strings.Contains(b, "#gap") || strings.Contains(r.page("/assign"), "#gap") {
			t.Error("it is asked once more")
		}
	}
	shot, body := asks("lost.csv", strings.ReplaceAll(csv(81), ",az", ",other"), "channel az")
	v := url.Values{}
	void := body[strings.Index(body, `id="gap"`):]
	for _, m := range regexp.MustCompile(`name="(shot|seen|reason)" value="([^"]*)"`).FindAllStringSubmatch(void[strings.Index(void, "/result/void"):], -1) {
		if v.Get(m[1]) == "" {
			v.Set(m[1], m[2])
		}
	}
	r.send("/result/void", v, "/next")
	r.page("/shots/"+shot, "void: missing: channel az")
	settled("0")
	shot, _ = asks("again.csv", strings.ReplaceAll(csv(82), ",az", ",other"), "channel az")
	r.send("/result/accept", url.Values{"shot": {shot}}, "/next")
	settled("1")
	shot, _ = asks("nogate.csv", strings.ReplaceAll(csv(83), ",gate", ",other"), "channel gate, speed")
	r.send("/result/accept", url.Values{"shot": {shot}}, "/next")
	settled("2")
}

func sidewaysPhoto(t *testing.T) {
	r := start(t)
	id := r.hit("H-9", 70)
	photo := string(picturetest.JPEG(t, picturetest.Stored(picturetest.Corners(120, 80), 6), picturetest.Tags{Orientation: 6}, 0))
	for range 2 { // sent twice
		if a := r.sendPhotos("/shots/"+id+"/photos", "", nil, part{"photo", "bar.jpg", photo}); a.status != http.StatusSeeOther {
			t.Fatalf("photo = %d\n%s", a.status, a.body)
		}
	}
	links := photoLink.FindAllStringSubmatch(r.page("/shots/"+id), -1)
	if len(links) != 1 {
		t.Fatalf("%d photos of one that was sent twice", len(links))
	}
	// It lies on its side, 80 wide and 120 high as stored; it is shown as the camera saw it.
	r.page(links[0][1], "80 × 120 pixels")
	upright(t, r.get(links[0][1]+"/small.jpg").body, 120, 80)
	if a := r.get(links[0][1] + "/original"); a.body != photo {
		t.Error("the original is not what came")
	}
	a := r.sendPhotos("/shots/"+id+"/photos", "", nil, part{"photo", "bar.jpg", "no photo at all"})
	if a.status == http.StatusSeeOther || !strings.Contains(a.body, "no photo") {
		t.Errorf("what is no photo = %d", a.status)
	}
	r.write("photo.jpg", photo)
	r.until("a photo in the watched folder is in quarantine", func() bool { return strings.Contains(r.get("/quarantine").body, "photo.jpg") })
}

func shareVanishes(t *testing.T) {
	r := start(t)
	r.write("map.toml", strings.Replace(mapText, "quiet_ms = 100", "rule = \"rows\"\nrows = 1200", 1))
	r.write("a.csv", csv(60))
	id := r.shots(1)["a.csv"]
	r.send("/shots/"+id+"/assign", url.Values{"kind": {"shot"}, "specimen": {"FG-01"}, "location": {"front"}, "target_speed_m_s": {"5"}}, "/")
	watch := r.opt.Watch[0]
	away := watch + ".away"
	if err := os.Rename(watch, away); err != nil {
		t.Fatal(err)
	}
	says := func() bool { return strings.Contains(r.get("/").body, "are not taken in now") }
	r.until("the first screen says so", says)
	whole, cut := csv(61), csv(62)
	for name, text := range map[string]string{"b.csv": whole, "c.csv": cut[:len(cut)/3]} {
		if err := os.WriteFile(filepath.Join(away, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	// What is in the store can be read and inspected as before.
	path := "/shots/" + id + "/inspect"
	uid := formID.FindStringSubmatch(r.page(path))[1]
	r.send(path, url.Values{"inspection": {uid}, "effective_at": {seenNow()}, "weld_grade": {"sound"}, "verdict": {"passed"}}, "/")
	r.page("/shots/"+id, "passed")
	if err := os.Rename(away, watch); err != nil {
		t.Fatal(err)
	}
	r.shots(2)
	r.until("the screen is quiet again", func() bool { return !says() })
	r.until("the file that was cut short is waited for", func() bool { return strings.Contains(r.get("/overview").body, "c.csv") })
	r.shots(2)
	r.write("c.csv", cut)
	r.shots(3)
}

func operatorsChange(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.plant(campaign(t))
	first := func(pressure string) {
		v := fields(t, r.page("/next"), "/next/confirm")
		v.Set("pressure", pressure)
		r.send("/next/confirm", v, "/result")
	}
	first("140")
	r.write("a.csv", csv(93))
	r.fileCame() // nobody had said who
	add := func(name, pin string) string {
		t.Helper()
		r.saved("/people/add", url.Values{"name": {name}, "pin": {pin}})
		return regexp.MustCompile(`href="(/people/[0-9a-f-]{36})"[^>]*>` + name).FindStringSubmatch(r.page("/people"))[1]
	}
	add("Wilma Quill", "4711") // is signed in at once
	ann := add("Ann Brook", "5508")
	before := r.page("/result")
	shot := fields(t, before, "/result/accept").Get("shot")
	path := "/shots/" + shot + "/inspect"
	uid := formID.FindStringSubmatch(r.page(path))[1]
	v := url.Values{"inspection": {uid}, "effective_at": {seenNow()}, "weld_note": {"hairline crack"}}
	r.draft(path, v)
	r.send("/result/accept", fields(t, before, "/result/accept"), "/next")
	next := r.page("/next", "FG-01, side")
	first("141") // Wilma confirms
	r.send(ann, url.Values{"pin": {"5508"}}, "/")
	r.page("/result", "Waiting for the file of FG-01, side") // what waits stays
	r.write("b.csv", csv(94))
	r.fileCame()
	second := fields(t, r.page("/result", "FG-01, side"), "/result/accept").Get("shot")
	r.page("/shots/"+second, "while Ann Brook was signed in")
	r.page("/shots/"+shot, "was begun and is not recorded yet")
	r.page(path, "hairline crack", "by Wilma Quill") // the draft stays, with who began it
	v.Set("verdict", "passed")
	v.Set("weld_grade", "marked")
	r.send(path, v, "/")
	if row := regexp.MustCompile(`(?s)<table class="inspections stack">.*?</table>`).FindString(r.page("/inspections")); !strings.Contains(row, "Ann Brook") || strings.Contains(row, "Wilma Quill") {
		t.Errorf("the inspection is not by her who recorded it: %s", row)
	}
	if !strings.Contains(next, "1</span> done") || !strings.Contains(r.page("/next", "FG-02, front"), "2</span> done") {
		t.Error("the run order depends on who works")
	}
	r.page("/day", "Wilma Quill", "Ann Brook")
}

// What a wrong clock dated is corrected on the screen of the shot, once the clock
// is right; the intake's own test sets the clock back.
func timeOfFiring(t *testing.T) {
	r := start(t)
	id := r.hit("FG-01", 80)
	path := "/shots/" + id + "/fired"
	r.page("/shots/"+id, "Correct the time of firing", `action="`+path+`"`)
	lastYear := time.Now().AddDate(-1, 0, 0).Truncate(time.Second)
	for _, bad := range []string{"", "noon", at(time.Now().Add(time.Hour)), "1970-03-01T00:00:00"} {
		if a := r.form(path, url.Values{"fired_at": {bad}}); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, `value="`+bad+`"`) {
			t.Errorf("fired at %q = %d", bad, a.status)
		}
	}
	r.send(path, url.Values{"fired_at": {at(lastYear)}}, "/shots/"+id)
	r.page("/shots/"+id, lastYear.Format("2006-01-02 15:04:05"), "typed")
	got := r.get("/api/v1/shots/" + id).json(t)
	if when, err := time.Parse(time.RFC3339, got["effective_at"].(string)); err != nil || !when.Equal(lastYear) || got["effective_from"] != "typed" {
		t.Errorf("effective at %v from %v, want %v typed; %v", got["effective_at"], got["effective_from"], lastYear.UTC(), err)
	}
	r.page("/day?date="+lastYear.Format(time.DateOnly), "FG-01")
	if strings.Contains(r.page("/day"), "FG-01") {
		t.Error("it is still in the report of today")
	}
}

package agent_test

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/agent"
	"thudbook/sync/home"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// hit posts a shot on a specimen and gives its id.
func (r *running) hit(specimen string, peakG float64) string {
	r.t.Helper()
	a := r.post(part{"meta", "", `{"specimen":"` + specimen + `","location":"front","target_speed_m_s":5.0,"kind":"shot"}`}, part{"map", "m.toml", mapText}, part{"file", "shot.csv", csv(peakG)})
	if a.status != http.StatusCreated {
		r.t.Fatalf("POST = %d\n%s", a.status, a.body)
	}
	return a.json(r.t)["id"].(string)
}

// state writes facts into the store of an agent, which is stopped meanwhile.
func (r *running) state(facts map[uuid.UUID]lab.Body) {
	r.t.Helper()
	id, err := uuid.Parse(r.get("/api/v1/shots").json(r.t)["shots"].([]any)[0].(map[string]any)["lab"].(string))
	if err != nil {
		r.t.Fatal(err)
	}
	if err := r.stop(); err != nil {
		r.t.Fatal(err)
	}
	h, err := home.Open(r.t.Context(), home.Options{Dir: r.opt.Data, Log: r.opt.Log, Software: "test"})
	if err != nil {
		r.t.Fatal(err)
	}
	for uid, b := range facts {
		labtest.Append(r.t, h.Ledger, id, labtest.Draft(r.t, uid, b))
	}
	if err := h.Close(); err != nil {
		r.t.Fatal(err)
	}
	r.run()
}

// judged is a campaign with criteria for the specimen H-31.
func judged() map[uuid.UUID]lab.Body {
	return map[uuid.UUID]lab.Body{labtest.ID("campaign"): &lab.Campaign{Name: "Guards, first series", Specimens: []string{"H-31", "H-32"}, FaceContactFails: true,
		InspectionLimits: []lab.InspectionLimit{{Element: lab.ElementBar, Worst: lab.GradeDamaged, MostMM: new(3.0), Source: "own plan"}, {Element: lab.ElementWeld, Worst: lab.GradeMarked}}}}
}

// seenNow is the time of an inspection as a form sends it now.
func seenNow() string { return time.Now().In(time.Local).Format("2006-01-02T15:04:05") }

var formID = regexp.MustCompile(`name="inspection" value="([0-9a-f-]{36})"`)

// An inspection from the empty form over a draft to the record, and its
// correction; the verdict of a person goes before the criteria.
func TestInspection(t *testing.T) {
	r := start(t)
	id := r.hit("h-31", 80)
	r.state(judged())
	path := "/shots/" + id + "/inspect"
	r.page("/shots/"+id, "Inspect the specimen", "Not inspected yet")
	empty := r.page(path, "By the criteria of Guards, first series", "at most 3.0", "own plan", "the criteria do not decide yet", "Vent the tank", "Nothing is kept yet")
	uid := formID.FindStringSubmatch(empty)[1]
	v := url.Values{"inspection": {uid}, "campaign": {labtest.ID("campaign").String()}, "effective_at": {seenNow()}, "bar_grade": {"damaged"}, "bar_mm": {"2,5"}, "weld_grade": {"sound"}}
	if a := r.draft(path, v); a["state"] != "the criteria do not decide yet" || len(a["open"].([]any)) != 1 {
		t.Errorf("draft = %v", a)
	}
	v.Set("face_contact", "yes")
	if a := r.draft(path, v); a["state"] != "failed by the criteria" || a["why"].([]any)[0] != "the guard touched the face form" {
		t.Errorf("draft = %v", a)
	}
	r.page(path, `value="2,5"`, "Draft kept", "failed by the criteria")
	r.page("/shots/"+id, "was begun and is not recorded yet")

	// What is missing is said, and nothing typed is lost.
	if a := r.form(path, v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "the last word is a person&#39;s") || !strings.Contains(a.body, `value="2,5"`) {
		t.Errorf("without a verdict = %d", a.status)
	}
	v.Set("verdict", "passed")
	if a := r.form(path, v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "Say why") {
		t.Errorf("against the criteria without a reason = %d", a.status)
	}
	v.Set("reason", "only the tape touched")
	v.Set("bar_mm", "1,500")
	if a := r.form(path, v); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "write 1500 or 1.5") {
		t.Errorf("a number that can be read in two ways = %d", a.status)
	}
	v.Set("bar_mm", "2,5")
	for range 2 { // sent twice by mistake
		if a := r.form(path, v); a.status != http.StatusSeeOther {
			t.Fatalf("save = %d %s", a.status, a.body)
		}
	}
	shot := r.page("/shots/"+id, "the criteria said failed", "only the tape touched", "deformed by 2.5", "correct it")
	if n := strings.Count(shot, "correct it"); n != 1 || strings.Contains(shot, "was begun") {
		t.Errorf("%d inspections are shown, or the draft is still there", n)
	}
	// A late draft of a form that was saved is not kept; other values are not swallowed.
	if a := r.draft(path, v); a["recorded"] != true {
		t.Errorf("a late draft = %v", a)
	}
	v.Set("note", "seen by daylight")
	if a := r.form(path, v); a.status != http.StatusConflict || !strings.Contains(a.body, "was recorded already") || !strings.Contains(a.body, "seen by daylight") {
		t.Errorf("the same form with other values = %d", a.status)
	}

	// The correction is a record of its own.
	again := r.page(path+"?corrects="+uid, "This corrects an inspection", `value="2.5"`, "Record the correction")
	v.Set("inspection", formID.FindStringSubmatch(again)[1])
	v.Set("corrects", uid)
	v.Set("verdict", "failed")
	v.Set("reason", "")
	if a := r.form(path, v); a.status != http.StatusSeeOther {
		t.Fatalf("correction = %d %s", a.status, a.body)
	}
	r.page("/shots/"+id, "corrected since", "only the tape touched", "seen by daylight")
	r.page("/inspections?specimen=H-31", "corrected since", "failed")
	lines := strings.Split(strings.TrimSpace(r.get("/inspections.csv").body), "\n")
	if len(lines) != 3 || !strings.Contains(lines[1], v.Get("effective_at")[:4]+"-") || !strings.HasSuffix(strings.TrimSpace(lines[2]), ",yes") && !strings.HasSuffix(strings.TrimSpace(lines[1]), ",yes") {
		t.Errorf("table:\n%s", strings.Join(lines, "\n"))
	}
}

func (r *running) draft(path string, v url.Values) map[string]any {
	r.t.Helper()
	req, err := http.NewRequest(http.MethodPost, r.base+path+"/draft", strings.NewReader(v.Encode()))
	if err != nil {
		r.t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Accept", "application/json")
	a := r.do(req)
	if a.status != http.StatusOK {
		r.t.Fatalf("draft = %d\n%s", a.status, a.body)
	}
	return a.json(r.t)
}

// A shot without a specimen cannot be inspected yet, and says what to do.
func TestInspectionNeedsASpecimen(t *testing.T) {
	r := start(t)
	if a := r.post(part{"file", "a.csv", csv(60)}); a.status != http.StatusCreated {
		t.Fatal(a.status)
	}
	id := r.get("/api/v1/shots").json(t)["shots"].([]any)[0].(map[string]any)["id"].(string)
	if a := r.get("/shots/" + id + "/inspect"); a.status == http.StatusOK || !strings.Contains(a.body, "Assign the shot first") {
		t.Errorf("GET = %d", a.status)
	}
	for _, path := range []string{"/shots/" + uuid.NewString() + "/inspect", "/shots/x/inspect"} {
		if a := r.get(path); a.status != http.StatusNotFound {
			t.Errorf("GET %s = %d", path, a.status)
		}
	}
}

// Power fails while somebody inspects: what was kept as a draft is in what lies
// on the disk at that moment.
func TestPowerCutDuringInspection(t *testing.T) {
	r := start(t)
	id := r.hit("H-9", 70)
	path := "/shots/" + id + "/inspect"
	uid := formID.FindStringSubmatch(r.page(path, "No campaign that has this specimen sets criteria"))[1]
	v := url.Values{"inspection": {uid}, "effective_at": {seenNow()}, "weld_note": {"hairline crack, left"}, "shell_grade": {"marked"}}
	r.draft(path, v)
	left := filepath.Join(t.TempDir(), "left")
	if err := os.CopyFS(left, os.DirFS(r.opt.Data)); err != nil { // the agent is still running
		t.Fatal(err)
	}
	_ = os.Remove(filepath.Join(left, "control.json"))
	if err := os.Chmod(filepath.Join(left, "node.json"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	after := start(t, func(o *agent.Options) { o.Data = left })
	after.page("/shots/"+id, "was begun and is not recorded yet")
	after.page("/", "An inspection of H-9 was begun")
	got := after.page(path, "hairline crack, left", "Draft kept", uid)
	if !regexp.MustCompile(`name="shell_grade" value="marked" checked`).MatchString(got) {
		t.Error("the condition of the shell is lost")
	}
	if a := after.form(path+"/draft", url.Values{"inspection": {uid}, "discard": {"yes"}}); a.status != http.StatusSeeOther {
		t.Errorf("throw away = %d", a.status)
	}
	if strings.Contains(after.page(path), "hairline") {
		t.Error("the draft is still there")
	}
}

// The page of a specimen has its hits in order, what was seen after each, and
// says when it is out.
func TestSpecimen(t *testing.T) {
	r := start(t)
	var shots []string
	hit := func(n int) {
		for range n {
			shots = append(shots, r.hit("H-31 β/2", 80+float64(len(shots))))
		}
	}
	hit(1)
	inspect := func(shot, mm, verdict, reason string) {
		t.Helper()
		v := url.Values{"inspection": {uuid.NewString()}, "effective_at": {seenNow()}, "bar_grade": {"damaged"}, "bar_mm": {mm}, "verdict": {verdict}, "reason": {reason}}
		if a := r.form("/shots/"+shot+"/inspect", v); a.status != http.StatusSeeOther {
			t.Fatalf("inspect = %d\n%s", a.status, a.body)
		}
	}
	inspect(shots[0], "1.5", "passed", "")
	path := "/specimens/" + url.PathEscape("h-31 β/2")
	if strings.Contains(r.page(path, "1.5"), "grown by") {
		t.Error("a growth is told, and nothing was measured before")
	}
	hit(2)
	r.page("/shots/"+shots[0], `href="/specimens/H-31%20%CE%B2%2F2"`)
	b := r.page(path, "Specimen H-31 β/2", "may be hit", "not inspected")
	if strings.Index(b, shots[0]) > strings.Index(b, shots[2]) {
		t.Error("the first hit does not stand on top")
	}
	inspect(shots[2], "4", "failed", "bar bent too far")
	r.page(path, "out: failed", "bar bent too far", "grown by", "It is not offered for another hit")
	got := r.get("/api/v1" + path).json(t)
	hits := got["hits"].([]any)
	last := hits[2].(map[string]any)
	if got["specimen"] != "H-31 β/2" || got["out"] != true || len(hits) != 3 || last["deformation_mm"] != 4.0 || last["growth_mm"] != 2.5 || hits[1].(map[string]any)["deformation_mm"] != nil {
		t.Errorf("history = %v", got)
	}
	list := r.get("/api/v1/inspections?standing=yes&limit=1&specimen=" + url.QueryEscape("H-31 β/2")).json(t)
	if n := len(list["inspections"].([]any)); n != 1 || list["next"] == nil {
		t.Errorf("list = %v", list)
	}
	for path, want := range map[string]int{"/specimens/none": 404, "/api/v1/specimens/none": 404, "/api/v1/inspections?limit=0": 422, "/api/v1/inspections?standing=maybe": 422, "/api/v1/inspections?shot=x": 422} {
		if a := r.get(path); a.status != want && !(want == 422 && a.status == 400) {
			t.Errorf("GET %s = %d, want %d", path, a.status, want)
		}
	}
}

// A shot that names no specimen leads to the form that assigns it, and not to an
// inspection that cannot be made.
func TestUnassignedShotLeadsToItsAssignment(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	a := r.post(part{"map", "m.toml", mapText}, part{"file", "shot.csv", csv(80)})
	if a.status != http.StatusCreated {
		t.Fatalf("POST = %d\n%s", a.status, a.body)
	}
	id := a.json(t)["id"].(string)
	to := `href="/shots/` + id + `#assign">Assign the shot</a>`
	if b := r.page("/result", to); strings.Contains(b, "Inspect the specimen") {
		t.Error("the inspection of a specimen that nothing names is offered")
	}
	if a := r.get("/shots/" + id + "/inspect"); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, to) {
		t.Errorf("the inspection of a shot on nothing = %d\n%s", a.status, a.body)
	}
	r.page("/shots/"+id, `id="assign"`)
	r.send("/shots/"+id+"/assign", url.Values{"kind": {"shot"}, "specimen": {"FG-1"}, "location": {"front"}, "target_speed_m_s": {"5"}}, "/")
	if b := r.page("/result", "Inspect the specimen"); strings.Contains(b, ">Assign the shot</a>") {
		t.Error("a shot that is assigned is to be assigned again")
	}
}

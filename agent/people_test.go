package agent_test

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"thudbook/sync/home"
)

// TestPeopleAtTheRig goes through a day of two people at a rig without a server.
func TestPeopleAtTheRig(t *testing.T) {
	r := start(t)
	if a := r.post(part{"file", "before.csv", csv(93)}); a.status != http.StatusCreated {
		t.Fatalf("post = %d %s", a.status, a.body)
	}
	id := r.get("/api/v1/shots").json(t)["shots"].([]any)[0].(map[string]any)["id"].(string)
	correct := func(specimen string) answer {
		return r.form("/shots/"+id+"/assign", url.Values{"kind": {"shot"}, "specimen": {specimen}})
	}
	if a := correct("H-20"); a.status != http.StatusSeeOther {
		t.Fatalf("without a list a name is asked for: %d", a.status)
	}
	if strings.Contains(r.page("/people", "Nobody is on the list"), "Pick your name") {
		t.Error("a name is asked for with nobody on the list")
	}

	bad := r.form("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"1234"}})
	if bad.status != http.StatusUnprocessableEntity || !strings.Contains(bad.body, `value="Wilma Quill"`) || !strings.Contains(bad.body, "first that anybody would try") || strings.Contains(bad.body, "1234\"") {
		t.Errorf("a PIN that is easily guessed = %d", bad.status)
	}
	add := func(name, pin string) string {
		t.Helper()
		if a := r.form("/people/add", url.Values{"name": {name}, "pin": {pin}}); a.status != http.StatusSeeOther {
			t.Fatalf("add = %d %s", a.status, a.body)
		}
		m := regexp.MustCompile(`href="(/people/[0-9a-f-]{36})"[^>]*>` + name).FindStringSubmatch(r.page("/people", name))
		if m == nil {
			t.Fatalf("%s is not among the names", name)
		}
		return m[1]
	}
	wilma := add("Wilma Quill", "4711") // the first is signed in at once
	ann := add("Ann Brook", "5508")
	r.page("/shots", "At the rig:", "Wilma Quill")
	correct("H-21")
	r.saved("/rig/mount", url.Values{"position": {"neck"}, "item": {"new"}, "class": {"neck"}, "serial": {"N-3"}})
	r.saved("/ready/on", url.Values{"reason": {"the register is still empty"}})
	for path, what := range map[string]string{"/rig": "N-3", "/ready": "the register is still empty"} {
		if b := r.page(path, what); strings.Count(b, "Wilma Quill") < 2 || strings.Contains(b, "a person on the server") { // once as who is at the rig
			t.Errorf("%s does not name who did it", path)
		}
	}

	// One tap from any screen leads to the names, and back.
	if m := regexp.MustCompile(`href="(/people[^"]*)">Change`).FindStringSubmatch(r.page("/shots/" + id)); m == nil || !strings.Contains(m[1], url.QueryEscape("/shots/"+id)) {
		t.Errorf("no way to change that comes back: %v", m)
	}
	if a := r.form(ann, url.Values{"pin": {"5509"}, "next": {"/shots"}}); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "This is not the PIN") {
		t.Errorf("a wrong PIN = %d", a.status)
	}
	for next, want := range map[string]string{"/shots/" + id: "/shots/" + id, "//evil.example/": "/", "https://evil.example/": "/"} {
		if a := r.form(ann, url.Values{"pin": {"5508"}, "next": {next}}); a.status != http.StatusSeeOther || a.header.Get("Location") != want {
			t.Errorf("sign-in with the way back %s = %d to %s", next, a.status, a.header.Get("Location"))
		}
	}
	correct("H-22")
	if a := r.post(part{"file", "later.csv", csv(61)}); a.status != http.StatusCreated {
		t.Fatalf("post = %d", a.status)
	}
	r.page("/shots/"+id, "Wilma Quill", "Ann Brook", "at the rig")
	later := r.get("/api/v1/shots").json(t)["shots"].([]any)
	found := false
	for _, s := range later {
		if other := s.(map[string]any)["id"].(string); other != id {
			r.page("/shots/"+other, "while Ann Brook was signed in")
			found = true
		}
	}
	if !found {
		t.Error("the second shot is not in the list")
	}

	// Signed out: reading goes on, recording does not, shots come in all the same.
	r.form("/people/out", nil)
	if a := correct("H-23"); a.status != http.StatusUnauthorized || !strings.Contains(a.body, "Nothing was saved") || !strings.Contains(a.body, "Wilma Quill") {
		t.Errorf("recording with nobody signed in = %d", a.status)
	}
	if strings.Contains(r.page("/shots/"+id, "nobody has signed in"), "H-23") {
		t.Error("it was recorded all the same")
	}
	if a := r.form("/people/off", url.Values{"person": {ann[len("/people/"):]}, "reason": {"x"}}); a.status != http.StatusUnauthorized {
		t.Errorf("the list is changed by nobody: %d", a.status)
	}
	if a := r.post(part{"file", "third.csv", csv(77)}); a.status != http.StatusCreated {
		t.Errorf("a shot with nobody signed in = %d", a.status)
	}

	// Who is signed in stays so over a restart; who is withdrawn does not.
	r.form(ann, url.Values{"pin": {"5508"}})
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	r.run()
	r.page("/", "Ann Brook")
	if strings.Contains(r.page("/people", "A rig where this is done signs the person out at once"), "A rig hears of it at its next exchange") {
		t.Error("a rig without a server says that it hears of what is done here")
	}
	if a := r.form("/people/off", url.Values{"person": {ann[len("/people/"):]}, "reason": {"left the lab"}}); a.status != http.StatusSeeOther {
		t.Fatalf("withdraw = %d %s", a.status, a.body)
	}
	r.page("/", "taken off the list", "nobody has signed in")
	if a := r.form(ann, url.Values{"pin": {"5508"}}); a.status == http.StatusSeeOther {
		t.Error("who was withdrawn signs in")
	}
	r.page("/shots/"+id, "Ann Brook") // the history keeps the name

	// An erased name is gone from the screens and from the disk, and nothing is damaged by it.
	r.form(wilma, url.Values{"pin": {"4711"}})
	erase := func(typed string) answer {
		return r.form("/people/erase", url.Values{"person": {ann[len("/people/"):]}, "reason": {"asked for it"}, "confirm": {typed}})
	}
	if a := erase("Ann Creek"); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "nothing was erased") {
		t.Errorf("a wrong name erases: %d", a.status)
	}
	if a := erase("Ann Brook"); a.status != http.StatusSeeOther {
		t.Fatalf("erase = %d %s", a.status, a.body)
	}
	for _, path := range []string{"/people", "/shots/" + id} {
		if strings.Contains(r.page(path, "erased person"), "Ann Brook") {
			t.Errorf("%s still has the name", path)
		}
	}
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	report, err := home.Verify(t.Context(), home.PlaceOf(r.opt.Data))
	if err != nil || len(report.Findings) > 0 || report.Erased != 1 {
		t.Errorf("verify: %v\n%s", err, report)
	}
	r.run()
	r.form("/people/out", nil)

	for i := range 4 { // the fourth wrong PIN has to wait
		a := r.form(wilma, url.Values{"pin": {"9999"}})
		if waits := strings.Contains(a.body, "Too many wrong PINs"); waits != (i == 3) {
			t.Errorf("try %d: waits %t", i+1, waits)
		}
	}
	if a := r.form(wilma, url.Values{"pin": {"4711"}}); !strings.Contains(a.body, "Too many wrong PINs") {
		t.Error("the right PIN gets in during the wait")
	}
}

// The wait after wrong PINs holds over a restart; the right PIN ends it for good.
func TestWaitAfterWrongPINsOverARestart(t *testing.T) {
	r := start(t)
	r.saved("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"4711"}})
	who := regexp.MustCompile(`/people/[0-9a-f-]{36}`).FindString(r.page("/people"))
	r.form("/people/out", nil)
	again := func() {
		t.Helper()
		if err := r.stop(); err != nil {
			t.Fatal(err)
		}
		r.run()
	}
	try := func(pin string) answer { return r.form(who, url.Values{"pin": {pin}}) }
	for range 2 { // the first ones are free
		if a := try("4712"); !strings.Contains(a.body, "This is not the PIN") {
			t.Fatalf("a wrong PIN = %d", a.status)
		}
	}
	again()
	if a := try("4711"); a.status != http.StatusSeeOther {
		t.Fatalf("the right PIN after two wrong ones = %d", a.status)
	}
	r.form("/people/out", nil)
	for i := range 9 {
		if a := try("4712"); strings.Contains(a.body, "Too many wrong PINs") {
			if i < 3 {
				t.Errorf("a wait after %d wrong PINs, although the right one was given before", i)
			}
			break
		}
	}
	again()
	if a := try("4711"); a.status == http.StatusSeeOther || !strings.Contains(a.body, "Too many wrong PINs") {
		t.Errorf("a restart goes around the wait: %d", a.status)
	}
}

// Who was at the rig is shown by name wherever a shot says so, proposed where
// one is assigned, and stays the person on the list when a form that shows the
// name is saved.
func TestOperatorByName(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.plant(campaign(t))
	r.saved("/people/add", url.Values{"name": {"Wilma Quill"}, "pin": {"4711"}})
	v := fields(t, r.page("/next"), "/next/confirm")
	v.Set("pressure", "141")
	r.send("/next/confirm", v, "/result")
	id := r.post(part{"file", "a.csv", csv(93)}, part{"map", "m.toml", mapText}).json(t)["id"].(string)
	facts := func() string {
		_, after, _ := strings.Cut(r.page("/shots/"+id), "<dt>Operator</dt>")
		text, _, _ := strings.Cut(after, "</dd>")
		return text
	}
	if text := facts(); !strings.Contains(text, "Wilma Quill") {
		t.Errorf("the operator is %q", text)
	}
	v = fields(t, r.page("/shots/"+id), "/shots/"+id+"/correct")
	if v.Get("operator") != "Wilma Quill" {
		t.Errorf("the form shows the operator %q", v.Get("operator"))
	}
	recorded := r.get("/api/v1/shots/" + id).json(t)
	v.Set("kind", "shot")
	v.Set("condition", "hot")
	r.send("/shots/"+id+"/correct", v, "/shots/"+id)
	after := r.get("/api/v1/shots/" + id).json(t)
	was, now := fmt.Sprint(recorded["shot"], recorded["meta"]), fmt.Sprint(after["shot"], after["meta"])
	if op := regexp.MustCompile(`operator:([0-9a-f-]{36})`); op.FindString(was) == "" || op.FindString(was) != op.FindString(now) {
		t.Errorf("the operator was %s, now %s", was, now)
	}
	other := r.post(part{"file", "b.csv", csv(77)}, part{"map", "m.toml", mapText}).json(t)["id"].(string)
	if v := fields(t, r.page("/assign"), "/shots/"+other+"/assign"); v.Get("operator") != "Wilma Quill" {
		t.Errorf("the form to assign a shot proposes the operator %q", v.Get("operator"))
	}
}

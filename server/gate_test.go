package server_test

import (
	"bytes"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
)

// TestNothingOfAnotherLab fills two labs with names of their own and reads all
// that a manager and an operator of one can reach: no byte of the other is in it.
func TestNothingOfAnotherLab(t *testing.T) {
	t.Parallel()
	w := start(t)
	labs := []*site{w.open("Dogwood", 12), w.open("Elder", 12)}
	for _, s := range labs {
		s.furnish()
	}
	for i, s := range labs {
		other := labs[1-i]
		secret := []string{other.marker, strings.ToLower(other.marker), other.id.String(), other.agent.Node.ID.String(), other.newest(), other.Rig.String(),
			other.Shots[0].String(), other.Campaign.String(), other.Lab.String()}
		for _, p := range []*person{s.manager, s.operator} {
			seen := 0
			for _, path := range s.everything(p) {
				a := p.get(path).want(t, 200, path)
				for _, x := range secret {
					if strings.Contains(a.body, x) {
						t.Errorf("%s shows %q of %s to a person of %s", path, x, other.name, s.name)
					}
				}
				if strings.Contains(a.body, s.marker) {
					seen++
				}
			}
			if seen < 20 {
				t.Errorf("only %d pages show anything of the person's own lab: the test proves too little", seen)
			}
			for _, path := range other.everything(w.admin) {
				if a := p.get(path).want(t, 404, "foreign "+path); strings.Contains(a.body, other.marker) {
					t.Errorf("the refusal of %s shows %q", path, other.marker)
				}
			}
		}
	}
	for _, path := range []string{"/metrics", "/healthz", "/readyz", "/api/openapi.json", "/signin"} {
		a := w.stranger().get(path).want(t, 200, path)
		for _, s := range labs {
			for _, x := range []string{s.marker, s.id.String(), s.agent.Node.ID.String(), "Test rig"} {
				if strings.Contains(a.body, x) {
					t.Errorf("%s shows %q to a stranger", path, x)
				}
			}
		}
	}
}

// What is another's is answered in the very words of what does not exist.
func TestForeignLabIsNoLab(t *testing.T) {
	t.Parallel()
	w := start(t)
	own, other := w.open("Yew", 1), w.open("Zelkova", 1)
	number := regexp.MustCompile(`[0-9a-f-]{36}|\d{4}-\d\d-\d\d \d\d:\d\d:\d\d|\d\dT\d\d:\d\d:\d\d|[0-9A-Z]{12}|[0-9a-zA-Z_-]{20,}`) // request ids, times, keys
	for _, path := range []string{"/shots?lab=", "/equipment?lab=", "/campaigns?lab=", "/api/v1/shots?lab="} {
		foreign := own.manager.get(path+other.id.String()).want(t, 404, path)
		none := own.manager.get(path+labtest.ID("no lab").String()).want(t, 404, path)
		if a, b := number.ReplaceAllString(foreign.body, "#"), number.ReplaceAllString(none.body, "#"); a != b {
			t.Errorf("%s answers differently: %.200q and %.200q", path, a, b)
		}
		own.manager.get(path+own.id.String()).want(t, 200, path)
	}
}

// furnish gives a lab equipment and a campaign under its marker.
func (s *site) furnish() {
	t, base := s.w.t, "/api/v1/labs/"+s.id.String()
	item := s.manager.make(base+"/items", lab.Item{Class: lab.ClassRam, Serial: s.marker + "-R", Name: s.marker + " ram", ServiceEveryStrokes: 10})
	cell := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: s.marker + "-S", Name: s.marker + " sensor", CalibrationRequired: true})
	now := time.Now()
	s.manager.make(base+"/services", lab.Service{Item: item, EffectiveAt: lab.At(now.AddDate(0, 0, -30)), Note: s.marker + " note"})
	s.manager.make(base+"/calibrations", lab.Calibration{Item: cell, EffectiveAt: lab.At(now.AddDate(-1, 0, 0)), DueAt: lab.At(now.AddDate(0, 0, -3)), Certificate: s.marker + "-C"})
	s.manager.make(base+"/mountings", lab.Mounting{Rig: s.Rig, Position: "ram", Item: item, EffectiveAt: lab.At(now.AddDate(0, 0, -40))})
	s.manager.make(base+"/mountings", lab.Mounting{Rig: s.Rig, Position: s.marker, Item: cell, EffectiveAt: lab.At(now.AddDate(0, 0, -40))})
	s.Campaign = s.manager.make(base+"/campaigns", lab.Campaign{Name: s.marker + " series", Specimens: []string{s.marker + " specimen"},
		Cells: []lab.Cell{{Location: s.marker + " side", Condition: "ambient", TargetSpeedMS: 5.5, ToleranceMS: 0.2, Planned: 4}}})
	s.manager.post(base+"/codes", map[string]string{"name": s.marker + " second rig"}).want(t, 201, "a code that stays open")
}

var anID = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-`)

// everything lists what a person can read of the site, with its own ids.
func (s *site) everything(p *person) []string {
	id := s.id.String()
	paths := []string{"/", "/shots", "/equipment", "/campaigns", "/agents", "/password", "/manual", "/licences", "/shots?lab=" + id, "/equipment?lab=" + id, "/campaigns?lab=" + id,
		"/shots?specimen=" + url.QueryEscape(s.marker+" specimen"), "/shots?campaign=" + s.Campaign.String(), "/campaigns/" + s.Campaign.String(),
		"/api/v1/labs", "/api/v1/agents", "/api/v1/shots", "/api/v1/shots?lab=" + id, "/api/v1/shots?specimen=H-01",
		"/api/v1/labs/" + id + "/campaigns/" + s.Campaign.String()}
	for _, kind := range []string{"items", "mountings", "services", "calibrations", "campaigns", "rigs"} {
		paths = append(paths, "/api/v1/labs/"+id+"/"+kind)
	}
	for _, shot := range []string{s.newest(), s.Shots[0].String(), s.Shots[5].String()} {
		paths = append(paths, "/shots/"+shot, "/shots/"+shot+"/traces.bin", "/shots/"+shot+"/shock.csv", "/api/v1/shots/"+shot, "/api/v1/shots/"+shot+"/source")
	}
	if p.name == "admin" { // of these only what names the lab
		paths = slices.DeleteFunc(paths, func(p string) bool { return !anID.MatchString(p) })
	}
	return paths
}

// TestBytesOfAnotherLab: a record that names the sum of another lab's file
// opens nothing, on no way.
func TestBytesOfAnotherLab(t *testing.T) {
	t.Parallel()
	w := start(t)
	rich, thief := w.open("Fir", 2), w.open("Gorse", 1)
	sum, size := rich.sourceOf(rich.newest())
	shot := labtest.Shot(thief.Rig, time.Now(), func(x *lab.Shot) { x.SourceSHA256, x.MapSHA256 = sum, record.Hash{} })
	body := labtest.Draft(t, labtest.ID("theft"), shot)
	// The thief's node has no such bytes, so it writes the record without them being stored.
	ref, err := thief.agent.Blobs.Put(t.Context(), bytes.NewReader([]byte("t,ax\n0,0\n")), 0)
	if err != nil {
		t.Fatal(err)
	}
	body.Attachments = []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RoleSource, Media: "text/csv", Name: "x.csv"}}
	labtest.Append(t, thief.agent.Ledger, thief.id, body)
	thief.sync()
	id := labtest.ID("theft").String()
	rich.manager.get("/api/v1/shots/"+rich.newest()+"/source").want(t, 200, "the owner's source")
	thief.manager.get("/api/v1/shots/"+id).want(t, 200, "the thief's own record")
	for _, path := range []string{"/api/v1/shots/" + id + "/source", "/shots/" + id + "/traces.bin", "/shots/" + id + "/shock.csv"} {
		a := thief.manager.get(path).want(t, 404, path)
		if strings.Contains(a.body, "Fir") || int64(len(a.body)) >= size {
			t.Errorf("%s gives out bytes of another lab", path)
		}
	}
	if a := thief.manager.get("/shots/"+id).want(t, 200, "the shot's screen"); !strings.Contains(a.body, "still on the rig PC") {
		t.Error("the screen does not say that the bytes are not here")
	}
}

func (s *site) sourceOf(shot string) (record.Hash, int64) {
	s.w.t.Helper()
	a := into[struct {
		SHA256 record.Hash `json:"sha256"`
		Size   int64       `json:"size_bytes"`
	}](s.w.t, s.manager.get("/api/v1/shots/"+shot))
	return a.SHA256, a.Size
}

// TestWithdrawnAgent: after it was withdrawn nothing is taken from an agent,
// what it recorded stays, and a new code lets it in again.
func TestWithdrawnAgent(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Hazel", 2)
	s.manager.form("/agents/revoke", url.Values{"agent": {s.agent.Node.ID.String()}, "reason": {"laptop lost"}}).want(t, 303, "withdrawing")
	if a := s.manager.get("/agents").want(t, 200, "agents"); !strings.Contains(a.body, "withdrawn: laptop lost") {
		t.Error("the list does not say that the agent was withdrawn, and why")
	}
	if err := s.trySync(); err == nil {
		t.Error("a withdrawn agent may still exchange")
	}
	s.alarmed()
	s.manager.get("/shots/"+s.newest()).want(t, 200, "a shot of a withdrawn agent")
	s.enrol()
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, labtest.ID("later"), labtest.Shot(s.Rig, time.Now())))
	s.sync()
	s.manager.get("/shots/"+labtest.ID("later").String()).want(t, 200, "a shot recorded after the agent was let in again")
}

// alarmed checks that the alarm that was raised stands beside the navigation of
// the lab's manager on every screen until one of them has seen it, and of nobody
// who does not keep the lab.
func (s *site) alarmed() {
	t := s.w.t
	t.Helper()
	tally := regexp.MustCompile(`href="/alarms"[^>]*>Alarms <span class="tally">1</span>`)
	other := s.w.open("Aspen", 1)
	for p, want := range map[*person]bool{s.manager: true, s.operator: false, other.manager: false, s.w.admin: true} {
		for _, path := range []string{"/", "/shots", "/equipment"} {
			if got := tally.MatchString(p.get(path).want(t, 200, path).body); got != want {
				t.Errorf("%s shows an alarm: %v, want %v", path, got, want)
			}
		}
	}
	seen := regexp.MustCompile(`action="(/alarms/[0-9a-f-]{36}/seen)"`).FindStringSubmatch(s.manager.get("/alarms").body)
	if seen == nil {
		t.Fatal("the alarm cannot be marked as seen")
	}
	for p, want := range map[*person]int{s.manager: 1, s.operator: 0, other.manager: 0} {
		if n := len(p.alarms("no")); n != want {
			t.Errorf("a program of %s hears of %d alarms, want %d", p.name, n, want)
		}
	}
	asked := "/api/v1/alarms/" + s.manager.alarms("no")[0] + "/seen"
	s.operator.post(asked, nil).want(t, 404, "an operator's program noting it")
	other.manager.post(asked, nil).want(t, 404, "another lab's program noting it")
	s.manager.post(asked, nil).want(t, 204, "a program noting it")
	if no, yes := s.manager.alarms("no"), s.manager.alarms("yes"); len(no) != 0 || len(yes) != 1 {
		t.Errorf("after a program noted it: unseen %v, seen %v", no, yes)
	}
	s.manager.form(seen[1], nil).want(t, 303, "seeing the alarm again")
	if tally.MatchString(s.manager.get("/").body) {
		t.Error("an alarm that was seen is still counted")
	}
}

// alarms gives the ids of the alarms that were seen, or not.
func (p *person) alarms(seen string) (out []string) {
	p.t.Helper()
	for _, a := range into[[]struct{ ID string }](p.t, p.get("/api/v1/alarms?seen="+seen).want(p.t, 200, "the alarms")) {
		out = append(out, a.ID)
	}
	return out
}

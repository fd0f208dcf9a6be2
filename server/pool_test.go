package server_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/server"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// poolRow is what the API says of a lab that is fetched.
type poolRow struct {
	ID        uuid.UUID `json:"id"`
	Lab       uuid.UUID `json:"lab"`
	Connected bool      `json:"connected"`
	Last      string    `json:"last_exchange"`
	Records   int64     `json:"pending_records"`
	Stuck     string    `json:"stuck"`
	Cause     string    `json:"cause"`
	Stopped   string    `json:"stopped"`
}

// pooling starts a server that asks others often.
func pooling(t *testing.T) *world {
	return startWith(t, func(o *server.Options) { o.PoolEvery = 50 * time.Millisecond })
}

func (w *world) servers() []poolRow {
	w.t.Helper()
	return into[[]poolRow](w.t, w.admin.get("/api/v1/servers").want(w.t, http.StatusOK, "GET servers"))
}

// eventually waits until ok, for what a server does by itself.
func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for deadline := time.Now().Add(60 * time.Second); !ok(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("not within a minute: %s", what)
		}
	}
}

func (s *site) code(name string) string {
	t := s.w.t
	t.Helper()
	a := s.manager.post("/api/v1/labs/"+s.id.String()+"/codes", map[string]string{"name": name}).want(t, http.StatusCreated, "POST codes")
	return into[struct{ Code string }](t, a).Code
}

// fetch has a server fetch a lab, on the screen.
func (w *world) fetch(s *site, code string) answer {
	w.t.Helper()
	return w.admin.form("/servers", url.Values{"key": {uuid.NewString()}, "server": {s.w.url}, "code": {code}})
}

// Two labs with a server each, and a coordinator's server that fetches both: all
// shots are there, those from before the agent's enrolment under the lab's own
// name, with their sources; what is written there goes home; and a new shot
// follows by itself.
func TestLabsAreFetched(t *testing.T) {
	north, south, pool := start(t), start(t), pooling(t)
	a, b := north.open("Northpool", 3), south.open("Southpool", 2)
	for _, s := range []*site{a, b} {
		pool.fetch(s, s.code("coordinator")).want(t, http.StatusSeeOther, "fetch "+s.name)
	}
	for _, s := range []*site{a, b} {
		want := len(s.Shots)
		eventually(t, s.name+" is fetched", func() bool {
			l := into[[]struct {
				ID    uuid.UUID `json:"id"`
				Name  string    `json:"name"`
				Shots int       `json:"shots"`
			}](t, pool.admin.get("/api/v1/labs"))
			for _, x := range l {
				if x.ID == s.id {
					return x.Name == s.name && x.Shots == want
				}
			}
			return false
		})
		eventually(t, "its source is there", func() bool { return pool.admin.get("/api/v1/shots/"+s.newest()+"/source").status == http.StatusOK })
		if got, home := pool.admin.get("/api/v1/shots/"+s.newest()+"/source").body, s.manager.get("/api/v1/shots/"+s.newest()+"/source").body; got != home || !strings.Contains(got, s.marker) {
			t.Errorf("the source of %s is not what it is at home: %.80q", s.name, got)
		}
	}
	if l := into[[]struct{ ID uuid.UUID }](t, pool.admin.get("/api/v1/labs")); len(l) != 2 {
		t.Errorf("the coordinator sees %d labs, want 2: the ids from before enrolment are names of them", len(l))
	}

	// A new shot at the rig follows.
	id := labtest.ID("pool", "later")
	shot := labtest.Shot(a.Rig, time.Now(), func(x *lab.Shot) { x.FileName = "later.csv" })
	labtest.Append(t, a.agent.Ledger, a.id, labtest.Draft(t, id, shot))
	a.sync()
	eventually(t, "a later shot follows", func() bool { return pool.admin.get("/api/v1/shots/"+id.String()).status == http.StatusOK })

	// What the coordinator writes goes home, and to no other lab's server.
	item := pool.admin.make("/api/v1/labs/"+a.id.String()+"/items", map[string]any{"class": "ram", "serial": "R-POOL-1", "name": "ram of the pool"})
	eventually(t, "the item is at home", func() bool {
		return strings.Contains(a.manager.get("/api/v1/labs/"+a.id.String()+"/items").body, item.String())
	})
	if body := south.admin.get("/api/v1/labs").body; strings.Contains(body, a.id.String()) {
		t.Errorf("the other lab's server knows of %s: %s", a.name, body)
	}
	// Who wrote at home is no account here, and the home server's list tells the
	// coordinator's server from a rig PC.
	a.manager.make("/api/v1/labs/"+a.id.String()+"/states", map[string]any{"item": item, "state": "quarantined", "effective_at": time.Now().Add(-time.Minute), "reason": "cable frayed"})
	eventually(t, "the state follows", func() bool {
		return strings.Contains(pool.admin.get("/equipment/use/"+item.String()).body, "cable frayed")
	})
	if text := words(pool.admin.get("/equipment/use/" + item.String()).body); !strings.Contains(text, ", known at its lab’s own server") {
		t.Errorf("the author of another server is lost: %.1500s", text)
	}
	if text := words(a.manager.get("/equipment/use/" + item.String()).body); strings.Contains(text, "known at") {
		t.Errorf("at home somebody is said to be known elsewhere: %.900s", text)
	}
	if text := words(a.manager.get("/agents").body); strings.Count(text, "a server that fetches, no rig PC") != 1 {
		t.Errorf("the list of agents does not tell the server that fetches: %.900s", text)
	}
	for _, path := range []string{"/", "/health", "/agents"} {
		text := words(pool.admin.get(path).body)
		if !strings.Contains(text, "Agents of Northpool lab, Southpool lab enrol at their lab’s own server") || strings.Contains(text, "type it in at the rig PC") || strings.Contains(text, "No agent has been enrolled") {
			t.Errorf("%s has agents of fetched labs enrolled here: %.900s", path, text)
		}
	}
	page := pool.admin.get("/servers").want(t, http.StatusOK, "GET /servers").body
	for _, want := range []string{a.name, b.name, a.w.url, "up to date"} {
		if !strings.Contains(page, want) {
			t.Errorf("the screen of other servers lacks %q", want)
		}
	}

	// Stopped, it stays as it is; a new code begins again.
	rows := pool.servers()
	at := 0
	for i := range rows {
		if rows[i].Lab == a.id {
			at = i
		}
	}
	pool.admin.form("/servers/stop", url.Values{"key": {uuid.NewString()}, "id": {rows[at].ID.String()}}).want(t, http.StatusSeeOther, "stop")
	late := labtest.ID("pool", "after the stop")
	labtest.Append(t, a.agent.Ledger, a.id, labtest.Draft(t, late, labtest.Shot(a.Rig, time.Now(), func(x *lab.Shot) { x.FileName = "after.csv" })))
	a.sync()
	if pool.admin.get("/api/v1/shots/"+a.newest()).status != http.StatusOK {
		t.Error("what was fetched is gone")
	}
	pool.fetch(a, a.code("coordinator again")).want(t, http.StatusSeeOther, "fetch again")
	eventually(t, "what came meanwhile follows", func() bool { return pool.admin.get("/api/v1/shots/"+late.String()).status == http.StatusOK })
}

// The coordinator's server stops in the middle and starts again: it goes on
// fetching, and after a withdrawal a person is told why it stands still.
func TestFetchingGoesOnAndIsToldOf(t *testing.T) {
	home, pool := start(t), pooling(t)
	s := home.open("Restartpool", 2)
	pool.fetch(s, s.code("coordinator")).want(t, http.StatusSeeOther, "fetch")
	eventually(t, "the first exchange", func() bool { r := pool.servers(); return len(r) == 1 && r[0].Last != "" })
	if err := pool.stop(); err != nil {
		t.Fatal(err)
	}
	id := labtest.ID("restartpool", "meanwhile")
	labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, labtest.Shot(s.Rig, time.Now(), func(x *lab.Shot) { x.FileName = "m.csv" })))
	s.sync()
	pool.run()
	pool.admin = pool.signIn("admin", pool.firstPassword())
	eventually(t, "it goes on after a restart", func() bool { return pool.admin.get("/api/v1/shots/"+id.String()).status == http.StatusOK })

	var node string
	for _, x := range into[[]struct {
		Node string `json:"node"`
		Name string `json:"name"`
	}](t, s.manager.get("/api/v1/agents")) {
		if x.Name == "coordinator" {
			node = x.Node
		}
	}
	s.manager.post("/api/v1/agents/"+node+"/revoke", map[string]string{"reason": "trial"}).want(t, http.StatusNoContent, "revoke")
	eventually(t, "the screen says why", func() bool { r := pool.servers(); return r[0].Cause == "withdrawn" && r[0].Stuck != "" })
	eventually(t, "an alarm is kept", func() bool {
		b := pool.admin.get("/api/v1/alarms").body
		return strings.Contains(b, `"withdrawn"`) && strings.Contains(b, s.w.url)
	})
}

// What must not be fetched is refused in words, and leaves nothing behind.
func TestWhatIsNotFetched(t *testing.T) {
	home, pool := start(t), pooling(t)
	s := home.open("Refusedpool", 1)
	refused := func(what, server, code, words string) {
		t.Helper()
		a := pool.admin.form("/servers", url.Values{"key": {uuid.NewString()}, "server": {server}, "code": {code}})
		if a.status < 400 || !strings.Contains(a.body, words) {
			t.Errorf("%s: status %d, want words %q in %.2000s", what, a.status, words, a.body)
		}
	}
	refused("rubbish", home.url, "K7QP", "code")
	refused("no server", "http://127.0.0.1:1", s.code("x"), "server")
	refused("plain HTTP to another computer", "http://thudbook.example", s.code("x"), "https")
	own := pool.open("Ownpool", 1)
	refused("its own lab", pool.url, own.code("x"), "this server itself")
	if rows := pool.servers(); len(rows) != 0 {
		t.Errorf("%d servers after refusals", len(rows))
	}
	pool.fetch(s, s.code("coordinator")).want(t, http.StatusSeeOther, "fetch")
	refused("twice", home.url, s.code("again"), "fetched already")
	if rows := pool.servers(); len(rows) != 1 {
		t.Errorf("%d servers, want 1", len(rows))
	}
	// Who is no administrator adds none, and sees those of their labs.
	own.manager.form("/servers", url.Values{"key": {uuid.NewString()}, "server": {home.url}, "code": {"x"}}).want(t, http.StatusForbidden, "a manager")
	if b := own.manager.get("/api/v1/servers").want(t, http.StatusOK, "GET servers").body; strings.Contains(b, home.url) {
		t.Errorf("a manager of another lab sees %s", b)
	}
}

// A server that fetches changes its key: every other server takes the new one by
// itself, one that two labs come from takes it once, and one that is away takes it
// when it is back; the server's own chains keep their key.
func TestServerThatFetchesChangesItsKey(t *testing.T) {
	north, south, pool := start(t), start(t), pooling(t)
	sites := []*site{north.open("Northkey", 1), north.open("Eastkey", 1), south.open("Southkey", 1)}
	for _, s := range sites {
		pool.fetch(s, s.code("coordinator")).want(t, http.StatusSeeOther, "fetch "+s.name)
	}
	follows := func(n int, all ...*site) {
		t.Helper()
		for _, s := range all {
			id := labtest.ID("pool key", s.name, n)
			labtest.Append(t, s.agent.Ledger, s.id, labtest.Draft(t, id, labtest.Shot(s.Rig, time.Now(), func(x *lab.Shot) { x.FileName = "key.csv" })))
			s.sync()
			eventually(t, "a shot of "+s.name+" follows", func() bool { return pool.admin.get("/api/v1/shots/"+id.String()).status == http.StatusOK })
		}
	}
	follows(1, sites...)
	keys := func() (of map[string]string, waiting int) {
		t.Helper()
		body := pool.admin.get("/servers").want(t, http.StatusOK, "GET /servers").body
		of = map[string]string{}
		for _, part := range strings.Split(body, "<article")[1:] {
			_, own, _ := strings.Cut(part, "this server’s key there")
			_, own, _ = strings.Cut(own, `hash">`)
			own, _, _ = strings.Cut(own, "<")
			for _, s := range sites {
				if strings.Contains(part, s.name) {
					of[s.name] = own
				}
			}
		}
		return of, strings.Count(body, "A new key was made; that server")
	}
	before, waiting := keys()
	if len(before) != 3 || before["Northkey lab"] == "" || before["Northkey lab"] != before["Southkey lab"] || waiting != 0 {
		t.Fatalf("keys %v, %d waiting", before, waiting)
	}
	pool.admin.form("/servers/key", url.Values{"key": {uuid.NewString()}}).want(t, http.StatusSeeOther, "change the key")
	eventually(t, "every server took the new key", func() bool { _, n := keys(); return n == 0 })
	after, _ := keys()
	if after["Northkey lab"] == before["Northkey lab"] || after["Northkey lab"] != after["Eastkey lab"] || after["Southkey lab"] == before["Southkey lab"] {
		t.Errorf("keys %v, before %v", after, before)
	}
	follows(2, sites...)
	if err := pool.stop(); err != nil {
		t.Fatal(err)
	}
	pool.run()
	pool.admin = pool.signIn("admin", pool.firstPassword())
	follows(3, sites...)
	if again, n := keys(); n != 0 || again["Northkey lab"] != after["Northkey lab"] || again["Southkey lab"] != after["Southkey lab"] {
		t.Errorf("after a restart the keys are %v, %d waiting, want %v", again, n, after)
	}
	// What is written here still goes home, signed by the new key.
	item := pool.admin.make("/api/v1/labs/"+sites[0].id.String()+"/items", map[string]any{"class": "ram", "serial": "R-KEY-1", "name": "ram of the pool"})
	eventually(t, "the item is at home", func() bool {
		return strings.Contains(sites[0].manager.get("/api/v1/labs/"+sites[0].id.String()+"/items").body, item.String())
	})
}

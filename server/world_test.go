package server_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/server"
	"thudbook/sync/exchange"
	"thudbook/sync/home"
	"thudbook/sync/httppeer"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// clock is a time that a test can move.
type clock struct {
	mu  sync.Mutex
	off time.Duration
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return time.Now().Add(c.off)
}

func (c *clock) move(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.off += d
}

// world is a running server in a folder of the test.
type world struct {
	t     *testing.T
	dir   string
	url   string
	out   *bytes.Buffer
	clock *clock
	stop  func() error
	admin *person
	set   func(*server.Options) // changes the options of each start; nil: as they are
}

// start runs a server on a free port until the test ends; its data folder is
// verified then.
func start(t *testing.T) *world {
	t.Helper()
	return startWith(t, nil)
}

func startWith(t *testing.T, set func(*server.Options)) *world {
	t.Helper()
	w := &world{t: t, dir: filepath.Join(t.TempDir(), "data"), clock: &clock{}, set: set}
	w.run()
	t.Cleanup(func() {
		if err := w.stop(); err != nil {
			t.Errorf("the server ended with %v", err)
		}
		report, err := home.Verify(context.WithoutCancel(t.Context()), home.PlaceOf(w.dir))
		if err != nil || report.Class() != 0 {
			t.Errorf("verify: %v\n%s", err, report)
		}
	})
	w.admin = w.signIn("admin", w.firstPassword())
	return w
}

// run starts the server over the folder, and waits until it is ready.
func (w *world) run() {
	w.t.Helper()
	addr := filepath.Join(w.t.TempDir(), "address")
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	w.out = &bytes.Buffer{}
	o := server.Options{Data: w.dir, Listen: "127.0.0.1:0", ListenFile: addr, Name: "Test server", Out: w.out, Now: w.clock.now,
		Log: slog.New(slog.NewTextHandler(w.t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))}
	if w.set != nil {
		w.set(&o)
	}
	go func() { ended <- server.Run(ctx, o) }() // its end is received by stop
	w.stop = sync.OnceValue(func() error { cancel(); return <-ended })
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(2 * time.Millisecond) {
		b, err := os.ReadFile(addr)
		if err == nil {
			w.url = "http://" + strings.TrimSpace(string(b))
			return
		}
		select {
		case err := <-ended:
			ended <- err
			w.t.Fatalf("the server ended at its start: %v", err)
		default:
		}
		if time.Now().After(deadline) {
			w.t.Fatal("the server did not start in 20 s")
		}
	}
}

func (w *world) firstPassword() string {
	w.t.Helper()
	b, err := os.ReadFile(filepath.Join(w.dir, server.FirstPasswordFile))
	if err != nil {
		w.t.Fatal(err)
	}
	return strings.TrimSpace(string(b))
}

// person is one browser.
type person struct {
	t    *testing.T
	name string
	url  string
	http *http.Client
}

func (w *world) stranger() *person {
	jar, err := cookiejar.New(nil)
	if err != nil {
		w.t.Fatal(err)
	}
	return &person{t: w.t, name: "stranger", url: w.url, http: &http.Client{Jar: jar, Timeout: 30 * time.Second,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

func (w *world) signIn(name, password string) *person {
	w.t.Helper()
	p := w.stranger()
	p.name = name
	a := p.form("/signin", url.Values{"name": {name}, "password": {password}})
	if a.status != http.StatusSeeOther {
		w.t.Fatalf("sign-in of %s answered %d: %.300s", name, a.status, a.body)
	}
	return p
}

// answer is a response read whole.
type answer struct {
	status int
	header http.Header
	body   string
}

func (p *person) do(method, path, media string, body io.Reader, headers ...string) answer {
	p.t.Helper()
	req, err := http.NewRequestWithContext(p.t.Context(), method, p.url+path, body)
	if err != nil {
		p.t.Fatal(err)
	}
	if media != "" {
		req.Header.Set("Content-Type", media)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	res, err := p.http.Do(req)
	if err != nil {
		p.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return answer{res.StatusCode, res.Header, string(b)}
}

func (p *person) get(path string) answer { p.t.Helper(); return p.do(http.MethodGet, path, "", nil) }

func (p *person) form(path string, v url.Values, headers ...string) answer {
	p.t.Helper()
	return p.do(http.MethodPost, path, "application/x-www-form-urlencoded", strings.NewReader(v.Encode()), headers...)
}

func (p *person) post(path string, v any) answer {
	p.t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		p.t.Fatal(err)
	}
	return p.do(http.MethodPost, path, "application/json", bytes.NewReader(b))
}

// want fails the test unless the answer has the status.
func (a answer) want(t *testing.T, status int, what string) answer {
	t.Helper()
	if a.status != status {
		t.Errorf("%s answers %d, want %d: %.400s", what, a.status, status, a.body)
	}
	return a
}

// into reads a JSON answer.
func into[T any](t *testing.T, a answer) T {
	t.Helper()
	var v T
	if err := json.Unmarshal([]byte(a.body), &v); err != nil {
		t.Fatalf("status %d, no JSON of the wanted form: %v: %.300s", a.status, err, a.body)
	}
	return v
}

type idAnswer struct {
	ID uuid.UUID `json:"id"`
}

// make posts to the API and gives the id.
func (p *person) make(path string, v any) uuid.UUID {
	p.t.Helper()
	a := p.post(path, v).want(p.t, http.StatusCreated, "POST "+path)
	return into[idAnswer](p.t, a).ID
}

// site is one lab of the server with an agent that has sent shots.
type site struct {
	labtest.Filled
	id       record.LabID
	name     string
	marker   string // stands in every name of the lab
	agent    *ledgertest.Ledger
	manager  *person
	operator *person
	w        *world
	pinned   exchange.Pinned
}

// open makes a lab with a manager, an operator and an agent that was enrolled
// by a code and hands over n shots, the first of them from before its enrolment.
func (w *world) open(marker string, n int) *site {
	w.t.Helper()
	s := &site{w: w, marker: marker, name: marker + " lab"}
	s.id = w.admin.make("/api/v1/labs", map[string]string{"name": s.name})
	for role, at := range map[string]**person{"manager": &s.manager, "operator": &s.operator} {
		login, password := strings.ToLower(marker)+"."+role, "a long password of "+marker
		w.admin.make("/api/v1/accounts", map[string]any{"login": login, "password": password, "grants": []any{map[string]any{"lab": s.id, "role": role}}})
		*at = w.signIn(login, password)
	}
	s.agent = ledgertest.Open(w.t, ledgertest.Options{Views: view.New()})
	local := exchange.LocalLab(s.agent.Node.PublicKey())
	s.Filled = labtest.FillLab(w.t, s.agent.Ledger, n, labtest.Options{Lab: local, Name: marker + " before enrolment", Blobs: s.agent.Blobs, Seed: uint64(len(marker)), First: time.Now().Add(-time.Hour)})
	shot := labtest.Shot(s.Rig, time.Now().Add(-time.Minute), func(x *lab.Shot) {
		x.FileName, x.Specimen, x.Location, x.Operator = marker+"-real.csv", marker+" specimen", marker+" side", marker+" op"
	})
	source := fmt.Sprintf("t,ax\n# %s\n%s", marker, strings.TrimPrefix(string(labtest.CSV(80)), "t,ax\n"))
	ref, err := s.agent.Blobs.Put(w.t.Context(), strings.NewReader(source), 0)
	if err != nil {
		w.t.Fatal(err)
	}
	shot.SourceSHA256, shot.MapSHA256 = ref.SHA256, record.Hash{}
	id := labtest.ID(marker, "real")
	labtest.Append(w.t, s.agent.Ledger, s.id,
		labtest.Draft(w.t, id, shot, record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RoleSource, Media: "text/csv", Name: shot.FileName}),
		labtest.Draft(w.t, id, labtest.Score(id, 5.5, func(b *lab.Score) { b.MapSHA256 = record.Hash{} })))
	s.Shots = append(s.Shots, id)
	s.enrol()
	s.sync()
	return s
}

// enrol admits the agent by a code, as a rig PC does.
func (s *site) enrol() {
	t := s.w.t
	t.Helper()
	a := s.manager.post("/api/v1/labs/"+s.id.String()+"/codes", map[string]string{"name": s.marker + " rig"}).want(t, http.StatusCreated, "POST codes")
	code, err := exchange.ParseCode(into[struct{ Code string }](t, a).Code)
	if err != nil {
		t.Fatal(err)
	}
	q, err := exchange.SealEnrol(s.agent.Node.PrivateKey, &exchange.EnrolRequest{Secret: code.Secret[:], EnrollmentID: uuid.New(),
		Node: s.agent.Node.ID, PublicKey: s.agent.Node.PublicKey(), Software: "test", TimeMS: time.Now().UnixMilli()})
	if err != nil {
		t.Fatal(err)
	}
	sealed, err := httppeer.Enrol(t.Context(), httppeer.NewTransport(httppeer.TransportOptions{}), s.w.url, q)
	if err != nil {
		t.Fatal(err)
	}
	got, err := exchange.OpenEnrolAnswer(&sealed, &q, code)
	if err != nil {
		t.Fatal(err)
	}
	if got.Lab != s.id {
		t.Errorf("the agent was enrolled for lab %s, want %s", got.Lab, s.id)
	}
	s.pinned = exchange.Pinned{ID: got.Server, Key: got.ServerKey}
}

// sync holds one session with the server.
func (s *site) sync() {
	t := s.w.t
	t.Helper()
	if err := s.trySync(); err != nil {
		t.Fatalf("exchange of %s: %v", s.marker, err)
	}
}

func (s *site) trySync() error {
	c, err := httppeer.NewClient(httppeer.ClientOptions{URL: s.w.url, Node: s.agent.Node.ID, Key: s.agent.Node.PrivateKey, Server: s.pinned})
	if err != nil {
		return err
	}
	defer c.Close()
	_, err = exchange.Run(s.w.t.Context(), exchange.Options{Ledger: s.agent.Ledger, Blobs: s.agent.Blobs, Store: s.agent.Store,
		Key: s.agent.Node.PrivateKey, Server: s.pinned, Software: "test"}, c)
	return err
}

// newest is the id of the shot that carries the marker.
func (s *site) newest() string { return s.Shots[len(s.Shots)-1].String() }

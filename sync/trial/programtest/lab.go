package programtest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Server is a server with one lab, and its administrator signed in.
type Server struct {
	*Process
	Program Program
	Data    string
	Lab     string

	args []string
	t    testing.TB
}

// StartServer starts a server over a new folder and makes a lab.
func (p Program) StartServer(t testing.TB, args ...string) *Server {
	t.Helper()
	s := &Server{Program: p, Data: t.TempDir(), args: args, t: t}
	s.run("127.0.0.1:0")
	var made struct {
		ID string `json:"id"`
	}
	s.Ask(http.MethodPost, "/api/v1/labs", map[string]string{"name": "lab under trial"}, &made)
	s.Lab = made.ID
	return s
}

func (s *Server) run(listen string) {
	s.t.Helper()
	all := []string{"server", "--data", s.Data}
	if !hasFlag(s.args, "--listen") {
		all = append(all, "--listen", listen)
	}
	s.Process = s.Program.Start(s.t, append(all, s.args...)...)
	s.signIn()
}

func hasFlag(args []string, name string) bool {
	for _, a := range args {
		if a == name || strings.HasPrefix(a, name+"=") {
			return true
		}
	}
	return false
}

// Again starts it anew over its folder and address, with another program where one is given.
func (s *Server) Again(other ...Program) {
	s.t.Helper()
	if len(other) > 0 {
		s.Program = other[0]
	}
	s.run(s.Addr)
}

func (s *Server) signIn() {
	s.t.Helper()
	b, err := os.ReadFile(filepath.Join(s.Data, "first-password"))
	if err != nil {
		s.t.Fatal(err)
	}
	if s.HTTP.Jar, err = cookiejar.New(nil); err != nil {
		s.t.Fatal(err)
	}
	s.HTTP.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	res, err := s.HTTP.PostForm(s.URL("/signin"), url.Values{"name": {"admin"}, "password": {string(bytes.TrimSpace(b))}})
	if err != nil {
		s.t.Fatal(err)
	}
	_ = res.Body.Close()
	if res.StatusCode != http.StatusSeeOther {
		s.t.Fatalf("the sign-in answered %s", res.Status)
	}
}

// Ask calls the process with a JSON body (nil: none) and reads the answer into answer.
func (p *Process) Ask(method, path string, body, answer any) {
	p.t.Helper()
	var r io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			p.t.Fatal(err)
		}
		r = bytes.NewReader(b)
	}
	q, err := http.NewRequestWithContext(p.t.Context(), method, p.URL(path), r)
	if err != nil {
		p.t.Fatal(err)
	}
	q.Header.Set("Content-Type", "application/json")
	q.Header.Set("Accept", "application/json")
	res, err := p.HTTP.Do(q)
	if err != nil {
		p.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err == nil && res.StatusCode >= 300 {
		err = fmt.Errorf("%s: %s", res.Status, b)
	}
	if err == nil && answer != nil {
		err = json.Unmarshal(b, answer)
	}
	if err != nil {
		p.t.Fatalf("%s %s: %v\n%s", method, path, err, p.Out)
	}
}

// Code makes a one-time code for an agent.
func (s *Server) Code() string {
	s.t.Helper()
	var c struct {
		Code string `json:"code"`
	}
	s.Ask(http.MethodPost, "/api/v1/labs/"+s.Lab+"/codes", map[string]string{"name": "rig"}, &c)
	return c.Code
}

// Listed is a shot as the server lists it.
type Listed struct {
	ID   string `json:"id"`
	File string `json:"file"`
}

// Shots lists all shots of the lab.
func (s *Server) Shots() []Listed {
	s.t.Helper()
	var all []Listed
	for next := "/api/v1/shots?limit=500&lab=" + s.Lab; next != ""; {
		var page struct {
			Shots []Listed `json:"shots"`
			Next  string   `json:"next"`
		}
		s.Ask(http.MethodGet, next, nil, &page)
		all, next = append(all, page.Shots...), page.Next
	}
	return all
}

// Source reads the original bytes of a shot. They may be on their way still: then nil.
func (s *Server) Source(id string) []byte {
	s.t.Helper()
	res, err := s.HTTP.Get(s.URL("/api/v1/shots/" + id + "/source"))
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	if res.StatusCode != http.StatusOK {
		return nil
	}
	return b
}

// Agent is an agent over a folder of its own.
type Agent struct {
	*Process
	Program Program
	Data    string

	args []string
	t    testing.TB
}

// StartAgent starts an agent over a new folder; args may hold --server and --code.
func (p Program) StartAgent(t testing.TB, args ...string) *Agent {
	t.Helper()
	a := &Agent{Program: p, Data: t.TempDir(), t: t}
	a.args = args
	a.Again()
	return a
}

// Again starts it anew over its folder, with another program where one is
// given and with more arguments.
func (a *Agent) Again(other ...Program) {
	a.t.Helper()
	if len(other) > 0 {
		a.Program = other[0]
	}
	all := []string{"agent", "--data", a.Data, "--listen", "127.0.0.1:0", "--reserve-mb", "1"}
	if !hasFlag(a.args, "--sync-every") {
		all = append(all, "--sync-every", "100ms")
	}
	a.Process = a.Program.Start(a.t, append(all, a.args...)...)
}

// With changes the arguments of the next start.
func (a *Agent) With(args ...string) { a.args = args }

// Post sends a shot and gives its id, once it is acknowledged.
func (a *Agent) Post(name string, source []byte) (id string) {
	a.t.Helper()
	var form bytes.Buffer
	m := multipart.NewWriter(&form)
	part, err := m.CreateFormFile("file", name)
	if err == nil {
		_, err = part.Write(source)
	}
	if err == nil {
		err = m.WriteField("meta", `{"specimen":"K-1","location":"front","target_speed_m_s":5.5,"kind":"shot"}`)
	}
	if err == nil {
		err = m.Close()
	}
	if err != nil {
		a.t.Fatal(err)
	}
	res, err := a.HTTP.Post(a.URL("/api/v1/shots"), m.FormDataContentType(), &form)
	if err != nil {
		a.t.Fatalf("post %s: %v\n%s", name, err, a.Out)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusCreated {
		a.t.Fatalf("post %s: %s %v %s", name, res.Status, err, b)
	}
	var made struct {
		ID string `json:"id"`
	}
	if err := json.Unmarshal(b, &made); err != nil || made.ID == "" {
		a.t.Fatalf("201 without an id: %s", b)
	}
	return made.ID
}

// SyncState is what an agent says of its exchange.
type SyncState struct {
	Enrolled bool   `json:"enrolled"`
	Records  int64  `json:"pending_records"`
	Bytes    int64  `json:"pending_bytes"`
	Stuck    string `json:"stuck"`
}

// Sync asks an agent for the state of its exchange.
func (a *Agent) Sync() SyncState {
	a.t.Helper()
	var s SyncState
	a.Ask(http.MethodGet, "/api/v1/sync", nil, &s)
	return s
}

// Drained says that the server has acknowledged everything.
func (a *Agent) Drained() bool {
	s := a.Sync()
	return s.Records == 0 && s.Bytes == 0
}

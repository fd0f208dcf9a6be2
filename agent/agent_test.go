package agent_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"thudbook/agent"
	"thudbook/sync/home"
	"thudbook/sync/problem"
)

// running is an agent that answers over real HTTP.
type running struct {
	t      *testing.T
	opt    agent.Options
	base   string
	log    *lockedBuffer
	cancel context.CancelFunc
	ended  chan error
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// start runs an agent; at the end of the test it is stopped and its data folder verified.
func start(t *testing.T, change ...func(*agent.Options)) *running {
	t.Helper()
	dir := t.TempDir()
	r := &running{t: t, log: &lockedBuffer{}, opt: agent.Options{Data: filepath.Join(dir, "data"), Watch: []string{filepath.Join(dir, "watch")},
		Listen: "127.0.0.1:0", ListenFile: filepath.Join(dir, "address"), Rig: "rig nine", LabName: "Invented lab", Reserve: 1}}
	if err := os.Mkdir(r.opt.Watch[0], 0o755); err != nil {
		t.Fatal(err)
	}
	for _, f := range change {
		f(&r.opt)
	}
	r.opt.Log = slog.New(slog.NewTextHandler(r.log, nil))
	r.run()
	t.Cleanup(func() {
		if err := r.stop(); err != nil {
			t.Errorf("agent ended with %v", err)
		}
		report, err := home.Verify(context.Background(), home.PlaceOf(r.opt.Data))
		if err != nil {
			t.Fatalf("verify: %v", err)
		}
		if report.Class() != 0 {
			t.Errorf("verify:\n%s", report)
		}
	})
	return r
}

func (r *running) run() {
	r.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r.cancel, r.ended = cancel, make(chan error, 1)
	go func() { r.ended <- agent.Run(ctx, r.opt) }()
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		select {
		case err := <-r.ended:
			r.t.Fatalf("agent did not start: %v\n%s", err, r.log)
		default:
		}
		if b, err := os.ReadFile(r.opt.ListenFile); err == nil {
			r.base = "http://" + strings.TrimSpace(string(b))
			return
		}
	}
	r.t.Fatalf("agent did not become ready\n%s", r.log)
}

func (r *running) stop() error {
	if r.cancel == nil {
		return nil
	}
	r.cancel()
	r.cancel = nil
	return <-r.ended
}

// answer is what came back, whole.
type answer struct {
	status int
	header http.Header
	body   string
}

func (a answer) json(t *testing.T) map[string]any {
	t.Helper()
	var v map[string]any
	if err := json.Unmarshal([]byte(a.body), &v); err != nil {
		t.Fatalf("no JSON: %v\n%s", err, a.body)
	}
	return v
}

func (r *running) do(req *http.Request) answer {
	r.t.Helper()
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, Timeout: 30 * time.Second}
	res, err := client.Do(req)
	if err != nil {
		r.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		r.t.Fatal(err)
	}
	return answer{res.StatusCode, res.Header, string(b)}
}

func (r *running) get(path string) answer {
	r.t.Helper()
	req, err := http.NewRequest(http.MethodGet, r.base+path, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	return r.do(req)
}

// page gets a screen, which must be there and say each of the words.
func (r *running) page(path string, words ...string) string {
	r.t.Helper()
	a := r.get(path)
	if a.status != http.StatusOK {
		r.t.Fatalf("GET %s = %d\n%s", path, a.status, a.body)
	}
	for _, w := range words {
		if !strings.Contains(a.body, w) {
			r.t.Errorf("GET %s does not say %q", path, w)
		}
	}
	return a.body
}

func (r *running) form(path string, v url.Values) answer {
	r.t.Helper()
	req, err := http.NewRequest(http.MethodPost, r.base+path, strings.NewReader(v.Encode()))
	if err != nil {
		r.t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Origin", r.base)
	return r.do(req)
}

// part is one part of a multipart post; with a file name it is a file.
type part struct{ field, file, text string }

func (r *running) post(parts ...part) answer {
	r.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for _, p := range parts {
		var w io.Writer
		var err error
		if p.file != "" {
			w, err = m.CreateFormFile(p.field, p.file)
		} else {
			w, err = m.CreateFormField(p.field)
		}
		if err == nil {
			_, err = io.WriteString(w, p.text)
		}
		if err != nil {
			r.t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		r.t.Fatal(err)
	}
	req, err := http.NewRequest(http.MethodPost, r.base+"/api/v1/shots", &b)
	if err != nil {
		r.t.Fatal(err)
	}
	req.Header.Set("Content-Type", m.FormDataContentType())
	return r.do(req)
}

func (r *running) until(what string, ok func() bool) {
	r.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if ok() {
			return
		}
	}
	r.t.Fatalf("waited in vain for: %s\n%s", what, r.log)
}

// csv is a half sine of peakG over 10 ms at 20 kHz, and a light gate that a
// 25 mm flag darkens for 5 ms: 5 m/s.
func csv(peakG float64) string {
	var b strings.Builder
	b.WriteString("t,ax,ay,az,gate\n")
	for i := range 1200 {
		t := float64(i) / 20000
		a, gate := 0.0, 5.0
		if t >= 0.020 && t < 0.030 {
			a = peakG * math.Sin(math.Pi*(t-0.020)/0.010)
		}
		if t >= 0.010 && t < 0.015 {
			gate = 0
		}
		fmt.Fprintf(&b, "%.5f,%.5f,0,0,%.1f\n", t, a, gate)
	}
	return b.String()
}

const mapText = `name = "invented rig"
[complete]
quiet_ms = 100
[time]
column = "t"
[processing]
baseline_ms = 5.0
[ram]
mass_kg = 15.0
[[channel]]
column = "ax"
measures = "linear acceleration"
axis = "x"
unit = "g"
cfc = 1000
[[channel]]
column = "ay"
measures = "linear acceleration"
axis = "y"
unit = "g"
cfc = 1000
[[channel]]
column = "az"
measures = "linear acceleration"
axis = "z"
unit = "g"
cfc = 1000
[[channel]]
column = "gate"
measures = "light gate"
flag_mm = 25.0
unit = "V"
`

func (r *running) write(name, text string) {
	r.t.Helper()
	if err := os.WriteFile(filepath.Join(r.opt.Watch[0], name), []byte(text), 0o644); err != nil {
		r.t.Fatal(err)
	}
}

func TestAddressesThatAreRefused(t *testing.T) {
	for _, addr := range []string{"0.0.0.0:0", ":8371", "192.0.2.1:80", "[::]:0", "example.com:80", "8371"} {
		err := agent.Run(t.Context(), agent.Options{Data: filepath.Join(t.TempDir(), "d"), Listen: addr, Log: slog.New(slog.DiscardHandler)})
		if p, ok := problem.As(err); !ok || p.Code != problem.Invalid || p.Fix == "" {
			t.Errorf("--listen %s: %v, want a problem with a fix", addr, err)
		}
	}
}

func TestWatchedFolderInsideTheData(t *testing.T) {
	dir, link := t.TempDir(), filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(dir, link); err != nil {
		t.Fatal(err)
	}
	for _, o := range []agent.Options{
		{Data: dir, Watch: []string{filepath.Join(dir, "watch")}},
		{Data: filepath.Join(dir, "data"), Watch: []string{dir}},
		{Data: dir, Watch: []string{dir}},
		{Data: filepath.Join(link, "not", "there", "yet"), Watch: []string{dir}},
		{Data: dir, Watch: []string{filepath.Join(t.TempDir(), "apart"), filepath.Join(link, "watch")}},
	} {
		o.Log = slog.New(slog.DiscardHandler)
		err := agent.Run(t.Context(), o)
		if p, ok := problem.As(err); !ok || p.Code != problem.Invalid || !strings.Contains(p.What, o.Data) || !strings.Contains(p.Fix, "--data") {
			t.Errorf("%v in %v: %v", o.Watch, o.Data, err)
		}
	}
}

func TestSecondAgentOnTheSameData(t *testing.T) {
	r := start(t)
	o := r.opt
	o.ListenFile = ""
	// L12 asks for seconds, and the lock is waited for 5 s; the bound leaves room for a busy machine and only ends a hang.
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	err := agent.Run(ctx, o)
	if p, ok := problem.As(err); !ok || !strings.Contains(p.What, "open") || p.Fix == "" {
		t.Errorf("second agent: %v", err)
	}
	if ctx.Err() != nil {
		t.Error("the second agent did not give up within a minute")
	}
}

func TestServerWithoutCodeIsRefused(t *testing.T) {
	err := agent.Run(t.Context(), agent.Options{Data: filepath.Join(t.TempDir(), "d"), Listen: "127.0.0.1:0", Server: "http://127.0.0.1:9", Log: slog.New(slog.DiscardHandler)})
	if problem.Of(err) != problem.Invalid {
		t.Errorf("a server without a code: %v", err)
	}
}

func TestShutdownWaitsAndRestartFindsAll(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.write("a.csv", csv(80))
	var id string
	r.until("the shot", func() bool {
		shots := r.get("/api/v1/shots").json(t)["shots"].([]any)
		if len(shots) == 1 {
			id = shots[0].(map[string]any)["id"].(string)
		}
		return len(shots) == 1
	})
	if err := r.stop(); err != nil {
		t.Fatalf("stop: %v", err)
	}
	if _, err := http.Get(r.base + "/healthz"); err == nil {
		t.Error("still answers after the end")
	}
	r.run()
	if a := r.get("/api/v1/shots/" + id); a.status != 200 {
		t.Errorf("after the restart: %d %s", a.status, a.body)
	}
	if b, err := os.ReadFile(r.opt.ListenFile); err != nil || !strings.Contains(r.base, strings.TrimSpace(string(b))) {
		t.Errorf("listen file: %q %v", b, err)
	}
}

package httpkit_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/metrics/fault"
	"thudbook/sync/problem"
	"thudbook/web"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

type seen struct {
	method, route string
	status        int
}

// rig is a real server on loopback with routes that go wrong in every way.
func rig(t *testing.T, log io.Writer, observed *[]seen) *httptest.Server {
	t.Helper()
	e := httpkit.New(httpkit.Options{
		Log: slog.New(slog.NewJSONHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug})), Hosts: httpkit.LoopbackHosts(),
		BodyLimits: map[string]int64{"POST /api/big": 3 << 20},
		Frame:      func(echo.Context) page.Frame { return page.Frame{Place: "Northmere lab", AtRig: true} },
		Ready: func(context.Context) error {
			return problem.New(problem.Unavailable, "The store is being checked.", "Wait.")
		},
		Observe: func(method, route string, status int, _ time.Duration) {
			*observed = append(*observed, seen{method, route, status})
		},
	})
	for path, err := range map[string]error{
		"/missing":   &problem.Error{Code: problem.NotFound, What: "There is no such shot.", Where: "shot 7", Fix: "Look in the list."},
		"/api/bad":   &fault.Error{Code: fault.BadNumber, What: "“x” is not a number.", Line: 812, Column: 3, Channel: "ax", Fix: "Mend it."},
		"/secret":    errors.New("password is hunter2 in /var/lib/db"),
		"/full":      problem.New(problem.Unavailable, "The disk is full.", "Free space."),
		"/forked":    problem.New(problem.Forked, "Two histories.", "Ask."),
		"/forbidden": problem.New(problem.Forbidden, "No right.", "Ask."),
	} {
		e.GET(path, func(echo.Context) error { return err })
	}
	e.GET("/panic", func(echo.Context) error { panic("a fault of ours") })
	e.GET("/late", func(c echo.Context) error {
		c.Response().WriteHeader(http.StatusOK)
		return errors.New("too late")
	})
	read := func(c echo.Context) error {
		n, err := io.Copy(io.Discard, c.Request().Body)
		if err != nil {
			return err
		}
		return c.String(http.StatusOK, strings.Repeat("x", int(min(n, 3))))
	}
	e.POST("/api/small", read)
	e.POST("/api/big", read)
	s := httptest.NewServer(e)
	t.Cleanup(s.Close)
	return s
}

func ask(t *testing.T, method, url string, body io.Reader, header ...string) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, url, body)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+1 < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
			continue
		}
		r.Header.Set(header[i], header[i+1])
	}
	w, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Body.Close()
	b, err := io.ReadAll(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	return w, string(b)
}

func TestErrorsBecomeStatusAndWords(t *testing.T) {
	var log bytes.Buffer
	var got []seen
	s := rig(t, &log, &got)
	for _, c := range []struct {
		path   string
		status int
		says   []string
	}{
		{"/missing", 404, []string{"There is no such shot.", "shot 7", "Look in the list.", "Northmere lab", "<h1>Error</h1>"}},
		{"/nowhere", 404, []string{"There is nothing at this address."}},
		{"/secret", 500, []string{"Something went wrong inside Thudbook."}},
		{"/panic", 500, []string{"Something went wrong inside Thudbook."}},
		{"/full", 503, []string{"The disk is full."}},
		{"/forked", 409, []string{"Two histories."}},
		{"/forbidden", 403, []string{"No right."}},
	} {
		w, body := ask(t, "GET", s.URL+c.path, nil, "Accept", "text/html")
		if w.StatusCode != c.status {
			t.Errorf("%s: status %d, want %d", c.path, w.StatusCode, c.status)
		}
		for _, text := range c.says {
			if !strings.Contains(body, text) {
				t.Errorf("%s does not say %q", c.path, text)
			}
		}
		if strings.Contains(body, "hunter2") || strings.Contains(body, "a fault of ours") {
			t.Errorf("%s tells the reader what belongs in the log", c.path)
		}
	}
	for _, text := range []string{"hunter2", "a fault of ours", `"request_id"`} {
		if !strings.Contains(log.String(), text) {
			t.Errorf("the log does not hold %q", text)
		}
	}
	if len(got) != 7 || got[0] != (seen{"GET", "/missing", 404}) {
		t.Errorf("observed %v", got)
	}
}

func TestErrorsAsJSON(t *testing.T) {
	var got []seen
	s := rig(t, io.Discard, &got)
	w, body := ask(t, "GET", s.URL+"/api/bad", nil)
	var b httpkit.Body
	if err := json.Unmarshal([]byte(body), &b); err != nil {
		t.Fatal(err)
	}
	want := httpkit.Detail{Code: "bad_number", What: "“x” is not a number.", Line: 812, Column: 3, Channel: "ax", Fix: "Mend it."}
	if w.StatusCode != 422 || b.Error != want || b.RequestID == "" {
		t.Errorf("%d %+v", w.StatusCode, b)
	}
	if w, _ := ask(t, "GET", s.URL+"/missing", nil, "Accept", "application/json"); w.Header.Get("Content-Type") != "application/json" {
		t.Errorf("asked for JSON, got %s", w.Header.Get("Content-Type"))
	}
	if w, body := ask(t, "GET", s.URL+"/late", nil); w.StatusCode != 200 || body != "" {
		t.Errorf("after the answer began: %d %q", w.StatusCode, body)
	}
}

func TestLimitsAndAttacks(t *testing.T) {
	var got []seen
	s := rig(t, io.Discard, &got)
	two := strings.Repeat("x", 2<<20)
	for _, c := range []struct {
		name, method, path string
		body               io.Reader
		header             []string
		status             int
	}{
		{"small body", "POST", "/api/small", strings.NewReader("x"), nil, 200},
		{"body above the default", "POST", "/api/small", strings.NewReader(two), nil, 413},
		{"the same without a length", "POST", "/api/small", io.MultiReader(strings.NewReader(two)), nil, 413},
		{"body within the route's limit", "POST", "/api/big", strings.NewReader(two), nil, 200},
		{"name of another site", "GET", "/healthz", nil, []string{"Host", "evil.example"}, 421},
		{"loopback by name", "GET", "/healthz", nil, []string{"Host", "localhost:1234"}, 200},
		{"loopback by address", "GET", "/healthz", nil, []string{"Host", "[::1]:1234"}, 200},
		{"form on another site", "POST", "/api/small", strings.NewReader("x"), []string{"Sec-Fetch-Site", "cross-site"}, 403},
		{"form of an old browser on another site", "POST", "/api/small", strings.NewReader("x"), []string{"Origin", "https://evil.example"}, 403},
		{"our own form", "POST", "/api/small", strings.NewReader("x"), []string{"Sec-Fetch-Site", "same-origin"}, 200},
		{"a link on another site", "GET", "/healthz", nil, []string{"Sec-Fetch-Site", "cross-site"}, 200},
	} {
		if w, body := ask(t, c.method, s.URL+c.path, c.body, c.header...); w.StatusCode != c.status {
			t.Errorf("%s: %d %s, want %d", c.name, w.StatusCode, body, c.status)
		}
	}
}

func TestHeadersHealthAssets(t *testing.T) {
	var got []seen
	s := rig(t, io.Discard, &got)
	w, body := ask(t, "GET", s.URL+"/healthz", nil)
	if body != "ok\n" || strings.Contains(w.Header.Get("Content-Security-Policy"), "unsafe") || !strings.Contains(w.Header.Get("Content-Security-Policy"), "default-src 'self'") {
		t.Errorf("%q %q", body, w.Header.Get("Content-Security-Policy"))
	}
	if w, body := ask(t, "GET", s.URL+"/readyz", nil); w.StatusCode != 503 || !strings.Contains(body, "The store is being checked.") {
		t.Errorf("readyz: %d %q", w.StatusCode, body)
	}
	w, body = ask(t, "GET", s.URL+web.Assets().URL("style.css"), nil)
	if w.StatusCode != 200 || !strings.HasPrefix(w.Header.Get("Content-Type"), "text/css") || !strings.Contains(w.Header.Get("Cache-Control"), "immutable") || !strings.Contains(body, "--accent") {
		t.Errorf("style sheet: %d %v", w.StatusCode, w.Header)
	}
	if w, _ := ask(t, "GET", s.URL+"/assets/style-000000000000.css", nil); w.StatusCode != 404 || strings.Contains(w.Header.Get("Cache-Control"), "immutable") {
		t.Errorf("an asset of another version: %d %v", w.StatusCode, w.Header)
	}
}

// A reason that is no sentence for readers stays inside, and /metrics is not
// there for whom it is not meant.
func TestReadyAndMetrics(t *testing.T) {
	e := httpkit.New(httpkit.Options{
		Ready:          func(context.Context) error { return errors.New("disk sda1 is broken") },
		Metrics:        http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "figure 1\n") }),
		MayReadMetrics: func(r *http.Request) bool { return r.Header.Get("X-Stranger") == "" },
	})
	s := httptest.NewServer(e)
	defer s.Close()
	if w, body := ask(t, "GET", s.URL+"/readyz", nil); w.StatusCode != 503 || body != "not ready\n" {
		t.Errorf("readyz: %d %q", w.StatusCode, body)
	}
	if w, body := ask(t, "GET", s.URL+"/metrics", nil); w.StatusCode != 200 || body != "figure 1\n" {
		t.Errorf("metrics: %d %q", w.StatusCode, body)
	}
	if w, body := ask(t, "GET", s.URL+"/metrics", nil, "X-Stranger", "1"); w.StatusCode != 404 || strings.Contains(body, "figure") {
		t.Errorf("metrics for a stranger: %d %q", w.StatusCode, body)
	}
}

// Serve ends only when the request under way has its answer.
func TestServeWaits(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	begun, finish := make(chan struct{}), make(chan struct{})
	h := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		close(begun)
		<-finish
		_, _ = io.WriteString(w, "done")
	})
	ctx, stop := context.WithCancel(t.Context())
	ended, answered := make(chan error, 1), make(chan string, 1)
	go func() { ended <- httpkit.Serve(ctx, l, h, time.Minute) }()
	go func() {
		_, body := ask(t, "GET", "http://"+l.Addr().String(), nil)
		answered <- body
	}()
	<-begun
	stop()
	select {
	case err := <-ended:
		t.Fatalf("Serve returned (%v) with a request under way", err)
	case <-time.After(50 * time.Millisecond):
	}
	close(finish)
	if got := <-answered; got != "done" {
		t.Errorf("answer %q", got)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// A request that does not end is cut off after the grace, and Serve says so.
func TestServeCutsOff(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	begun := make(chan struct{})
	h := http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		close(begun)
		<-r.Context().Done()
	})
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- httpkit.Serve(ctx, l, h, 10*time.Millisecond) }()
	go func() {
		if w, err := http.Get("http://" + l.Addr().String()); err == nil {
			w.Body.Close()
		}
	}()
	<-begun
	stop()
	if err := <-ended; !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("err = %v, want that requests were cut off", err)
	}
}

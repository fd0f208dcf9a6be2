package year

import (
	"bytes"
	"context"
	"encoding/json"
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

	"thudbook/server"
)

// site is a running server with its administrator.
type site struct {
	t     testing.TB
	url   string
	clock *clock
	http  *http.Client
	first string
}

func startSite(t testing.TB, c *clock, name string) *site {
	t.Helper()
	return startSiteOver(t, c, name, filepath.Join(t.TempDir(), "data"))
}

// startSiteOver starts a server over a folder that may hold records.
func startSiteOver(t testing.TB, c *clock, name, dir string) *site {
	t.Helper()
	address := filepath.Join(t.TempDir(), "address")
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		ended <- server.Run(ctx, server.Options{Data: dir, Listen: "127.0.0.1:0", ListenFile: address, Name: name, Now: c.now, PoolEvery: 100 * time.Millisecond,
			Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError}))})
	}()
	stop := sync.OnceValue(func() error { cancel(); return <-ended })
	t.Cleanup(func() {
		if err := stop(); err != nil {
			t.Errorf("%s ended with %v", name, err)
		}
	})
	s := &site{t: t, clock: c}
	wait(t, time.Minute, name+" is up", func() bool {
		b, err := os.ReadFile(address)
		s.url = "http://" + strings.TrimSpace(string(b))
		return err == nil
	})
	b, err := os.ReadFile(filepath.Join(dir, server.FirstPasswordFile))
	if err != nil {
		t.Fatal(err)
	}
	s.first = strings.TrimSpace(string(b))
	s.signIn()
	return s
}

// signIn signs in anew: a month is longer than a session.
func (s *site) signIn() {
	s.t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	s.http = &http.Client{Jar: jar, Timeout: time.Minute, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	s.form("/signin", url.Values{"name": {"admin"}, "password": {s.first}}, http.StatusSeeOther)
}

func (s *site) form(path string, v url.Values, want int) string {
	s.t.Helper()
	res, err := s.http.PostForm(s.url+path, v)
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != want {
		s.t.Fatalf("POST %s answers %s, %v: %.2000s", path, res.Status, err, b)
	}
	return string(b)
}

// text asks for a path; header pairs follow.
func (s *site) text(method, path string, body io.Reader, headers ...string) string {
	s.t.Helper()
	q, err := http.NewRequestWithContext(s.t.Context(), method, s.url+path, body)
	if err != nil {
		s.t.Fatal(err)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		q.Header.Set(headers[i], headers[i+1])
	}
	res, err := s.http.Do(q)
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode >= 300 {
		s.t.Fatalf("%s %s answers %s, %v: %.500s", method, path, res.Status, err, b)
	}
	return string(b)
}

// ask calls the API.
func (s *site) ask(method, path string, body, answer any) {
	s.t.Helper()
	var r io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			s.t.Fatal(err)
		}
		r = bytes.NewReader(b)
	}
	b := s.text(method, path, r, "Content-Type", "application/json")
	if err := json.Unmarshal([]byte(b), answer); err != nil {
		s.t.Fatalf("%s %s: %v: %.300s", method, path, err, b)
	}
}

func wait(t testing.TB, most time.Duration, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(most); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("not within %v: %s", most, what)
		}
	}
}

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"time"
)

// demoClient speaks to the server's API as its administrator would.
type demoClient struct {
	base string
	http *http.Client
}

// signIn posts the sign-in form and keeps the session's cookie.
func signIn(ctx context.Context, base, name, password string) (*demoClient, error) {
	jar, err := cookiejar.New(nil)
	if err != nil {
		return nil, err
	}
	c := &demoClient{base: base, http: &http.Client{Jar: jar, Timeout: 30 * time.Second,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
	form := url.Values{"name": {name}, "password": {password}}.Encode()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, base+"/signin", strings.NewReader(form))
	if err != nil {
		return nil, err
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	res, err := c.http.Do(req)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusSeeOther {
		return nil, fmt.Errorf("sign-in answered %s", res.Status)
	}
	return c, nil
}

// post sends a JSON body; answer may be nil.
func (c *demoClient) post(ctx context.Context, path string, body, answer any) error {
	b, err := json.Marshal(body)
	if err != nil {
		return err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.base+path, bytes.NewReader(b))
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", "application/json")
	return c.do(req, answer)
}

// get reads a JSON answer.
func (c *demoClient) get(ctx context.Context, path string, answer any) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, c.base+path, nil)
	if err != nil {
		return err
	}
	return c.do(req, answer)
}

func (c *demoClient) do(req *http.Request, answer any) error {
	req.Header.Set("Accept", "application/json")
	res, err := c.http.Do(req)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	b, err := io.ReadAll(io.LimitReader(res.Body, 8<<20))
	if err != nil {
		return err
	}
	if res.StatusCode >= 300 {
		return fmt.Errorf("%s %s answered %s: %s", req.Method, req.URL.Path, res.Status, b)
	}
	if answer == nil {
		return nil
	}
	return json.Unmarshal(b, answer)
}

package httppeer_test

import (
	"bytes"
	"errors"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

func headError(err error) (*exchange.HeadError, bool) {
	return errors.AsType[*exchange.HeadError](err)
}

// batch reads the agent's records after a place and signs them.
func batch(t *testing.T, r *rig, after uint64) exchange.Batch {
	t.Helper()
	o := r.agent.Own(r.lab)
	recs, err := r.agent.Read(t.Context(), o, after, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	b := exchange.Batch{Origin: o, HeadSignature: receipt.SignHead(r.agent.Node.PrivateKey, o, recs[len(recs)-1].Head())}
	for i := range recs {
		b.Records = append(b.Records, recs[i].Raw)
	}
	return b
}

// post sends CBOR without the client, and gives status, media type and body.
func post(t testing.TB, r *rig, path string, v any) (int, string, []byte) {
	t.Helper()
	b, err := record.EncodeBody(v)
	if err != nil {
		t.Fatal(err)
	}
	resp, err := http.Post(r.http.URL+path, "application/cbor", bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	body := mustRead(t, resp.Body)
	if err := resp.Body.Close(); err != nil {
		t.Error(err)
	}
	return resp.StatusCode, resp.Header.Get("Content-Type"), body
}

type proof struct {
	Node      record.NodeID `json:"node"`
	Nonce     []byte        `json:"nonce"`
	Signature []byte        `json:"signature"`
}

func challenge(t testing.TB, r *rig, node record.NodeID) []byte {
	t.Helper()
	status, _, body := post(t, r, "/sync/v1/challenge", map[string]any{"node": node})
	var a struct {
		Nonce []byte `json:"nonce"`
	}
	if err := record.DecodeBody(body, &a); err != nil || status != http.StatusOK || len(a.Nonce) != exchange.NonceSize {
		t.Fatalf("challenge: status %d, nonce of %d bytes, %v", status, len(a.Nonce), err)
	}
	return a.Nonce
}

func prove(r *rig, nonce []byte) proof {
	return proof{Node: r.agent.Node.ID, Nonce: nonce, Signature: exchange.SignSession(r.agent.Node.PrivateKey, r.service.Node(), r.agent.Node.ID, nonce)}
}

func token(t testing.TB, r *rig) string {
	t.Helper()
	status, _, body := post(t, r, "/sync/v1/session", prove(r, challenge(t, r, r.agent.Node.ID)))
	var a struct {
		Token    string `json:"token"`
		ExpiresS int64  `json:"expires_s"`
	}
	if err := record.DecodeBody(body, &a); err != nil || status != http.StatusOK || a.ExpiresS != 3600 {
		t.Fatalf("session: status %d, expires in %d s, %v", status, a.ExpiresS, err)
	}
	return a.Token
}

func TestNonceServesOnceAndOneNode(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	q := prove(r, challenge(t, r, r.agent.Node.ID))
	if status, _, _ := post(t, r, "/sync/v1/session", q); status != http.StatusOK {
		t.Fatalf("first use: status %d", status)
	}
	for name, q := range map[string]proof{
		"used again":        q,
		"never given":       prove(r, make([]byte, exchange.NonceSize)),
		"of another node":   prove(r, challenge(t, r, uuid.New())),
		"too short":         prove(r, []byte{1}),
		"signed by no one":  {Node: r.agent.Node.ID, Nonce: challenge(t, r, r.agent.Node.ID), Signature: make([]byte, 64)},
		"unknown node":      {Node: uuid.UUID{1}, Nonce: challenge(t, r, uuid.UUID{1}), Signature: make([]byte, 64)},
		"for other servers": {Node: r.agent.Node.ID, Nonce: nil},
	} {
		if q.Nonce == nil {
			q.Nonce = challenge(t, r, r.agent.Node.ID)
			q.Signature = exchange.SignSession(r.agent.Node.PrivateKey, uuid.New(), r.agent.Node.ID, q.Nonce)
		}
		status, media, body := post(t, r, "/sync/v1/session", q)
		if status != http.StatusUnauthorized || media != "application/problem+json" || bytes.Contains(body, []byte("token")) {
			t.Errorf("%s: status %d, %s, %s", name, status, media, body)
		}
	}
}

func TestNonceAndTokenExpireByTheServersClock(t *testing.T) {
	t.Parallel()
	agent, server := ledgertest.Open(t), ledgertest.Open(t)
	now := time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)
	s, err := exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: server.Ledger, Blobs: server.Blobs, Store: server.Store,
		Key: server.Node.PrivateKey, Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{agent: agent, server: server, service: s, registry: &exchangetest.Registry{}, lab: exchangetest.Lab(t)}
	r.registry.Add(exchangetest.Principal(agent, r.lab))
	r.serve(t, httppeer.NewHandler(s, r.registry, httppeer.HandlerOptions{}))
	q := prove(r, challenge(t, r, agent.Node.ID))
	now = now.Add(2 * time.Minute)
	if status, _, _ := post(t, r, "/sync/v1/session", q); status != http.StatusUnauthorized {
		t.Errorf("a nonce of two minutes ago: status %d", status)
	}
	tok := token(t, r)
	if status := get(t, r, "/sync/v1/receipts/"+agent.Own(r.lab).String(), tok); status != http.StatusOK {
		t.Errorf("a fresh token: status %d", status)
	}
	now = now.Add(time.Hour)
	if status := get(t, r, "/sync/v1/receipts/"+agent.Own(r.lab).String(), tok); status != http.StatusUnauthorized {
		t.Errorf("a token of an hour ago: status %d", status)
	}
}

func get(t testing.TB, r *rig, path, token string) int {
	t.Helper()
	q, err := http.NewRequestWithContext(t.Context(), http.MethodGet, r.http.URL+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	q.Header.Set("Authorization", "Bearer "+token)
	resp, err := http.DefaultClient.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	if err := resp.Body.Close(); err != nil {
		t.Error(err)
	}
	return resp.StatusCode
}

// Every route but the three that make a session asks for a token, in the
// Authorization header and nowhere else.
func TestEveryRouteAsksForAToken(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tok := token(t, r)
	fill := strings.NewReplacer("{node}", r.agent.Node.ID.String(), "{lab}", r.lab.String(), "{epoch}", "1", "{sha256}", strings.Repeat("ab", 32))
	routes := httppeer.Routes(r.handler)
	if len(routes) != 11 {
		t.Errorf("%d routes, this test knows 11", len(routes))
	}
	open := 0
	for _, rt := range routes {
		if rt.Open {
			open++
			continue
		}
		method, path, _ := strings.Cut(fill.Replace(rt.Pattern), " ")
		for name, set := range map[string]func(*http.Request){
			"nothing":       func(*http.Request) {},
			"a wrong token": func(q *http.Request) { q.Header.Set("Authorization", "Bearer "+tok+"x") },
			"no scheme":     func(q *http.Request) { q.Header.Set("Authorization", tok) },
			"a cookie":      func(q *http.Request) { q.AddCookie(&http.Cookie{Name: "token", Value: tok}) },
			"the query":     func(q *http.Request) { q.URL.RawQuery = "access_token=" + tok },
		} {
			q, err := http.NewRequestWithContext(t.Context(), method, r.http.URL+path, nil)
			if err != nil {
				t.Fatal(err)
			}
			set(q)
			resp, err := http.DefaultClient.Do(q)
			if err != nil {
				t.Fatal(err)
			}
			if err := resp.Body.Close(); err != nil {
				t.Error(err)
			}
			if resp.StatusCode != http.StatusUnauthorized || resp.Header.Get("Content-Type") != "application/problem+json" {
				t.Errorf("%s with %s: status %d, %s", rt.Pattern, name, resp.StatusCode, resp.Header.Get("Content-Type"))
			}
		}
	}
	if open != 3 {
		t.Errorf("%d open routes, want 3: enroll, challenge, session", open)
	}
}

func TestClientSignsInAgainByItself(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	exchangetest.Shots(t, r.agent, r.lab, 2, 100)
	c := r.client(t, r.http.URL)
	if _, err := r.run(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	// The server starts anew: its tokens are gone.
	r.http.Config.Handler = httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{})
	shot := exchangetest.Shot(t, r.agent, r.lab, "later", []byte("later bytes"))
	if err := c.PutBlob(t.Context(), r.lab, exchange.BlobRef{SHA256: shot.Attachments[0].SHA256, Size: 11}, strings.NewReader("later bytes")); err != nil {
		t.Errorf("a body that can be read again: %v", err)
	}
	if _, err := r.run(t.Context(), c); err != nil {
		t.Errorf("a session: %v", err)
	}
	exchangetest.Same(t, r.agent, r.server, true, r.lab)
}

func TestWithdrawnNodeIsRefusedAtOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	exchangetest.Shots(t, r.agent, r.lab, 2, 100)
	c := r.client(t, r.http.URL)
	if _, err := r.run(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	exchangetest.Shots(t, r.agent, r.lab, 1, 100)
	r.registry.Withdraw(r.agent.Node.ID)
	if _, err := r.run(t.Context(), c); problem.Of(err) != problem.Forbidden {
		t.Errorf("with its token: %v, want forbidden", err)
	}
	if _, err := r.run(t.Context(), r.client(t, r.http.URL)); problem.Of(err) != problem.Forbidden {
		t.Errorf("with a new session: %v, want forbidden", err)
	}
	if h, err := r.server.Head(t.Context(), r.agent.Own(r.lab)); err != nil || h.Seq != 3 {
		t.Errorf("the server has %d records, %v, want the 3 from before", h.Seq, err)
	}
}

// An attachment over the limit is refused before it is read; one without a
// length, too.
func TestAttachmentLimits(t *testing.T) {
	t.Parallel()
	agent, server := ledgertest.Open(t), ledgertest.Open(t)
	s, err := exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: server.Ledger, Blobs: server.Blobs, Store: server.Store,
		Key: server.Node.PrivateKey, MaxBlobBytes: 1000})
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{agent: agent, server: server, service: s, registry: &exchangetest.Registry{}, lab: exchangetest.Lab(t)}
	r.registry.Add(exchangetest.Principal(agent, r.lab))
	r.serve(t, httppeer.NewHandler(s, r.registry, httppeer.HandlerOptions{}))
	c := r.client(t, r.http.URL)
	exchangetest.Shot(t, agent, r.lab, "large", make([]byte, 1001))
	exchangetest.Shot(t, agent, r.lab, "small", make([]byte, 1000))
	res, err := r.run(t.Context(), c)
	if err != nil || res.BlobsSent != 1 || len(res.Notices) != 1 || problem.Of(res.Notices[0].Err) != problem.TooLarge {
		t.Errorf("sent %d, notices %v, %v; want the small one and a notice of the large one", res.BlobsSent, res.Notices, err)
	}
	err = c.PutBlob(t.Context(), r.lab, exchange.BlobRef{SHA256: record.Hash{1}, Size: 1001}, bytes.NewReader(make([]byte, 1001)))
	if problem.Of(err) != problem.TooLarge {
		t.Errorf("over the limit: %v, want too_large", err)
	}
	q, err := http.NewRequestWithContext(t.Context(), http.MethodPut, r.http.URL+"/sync/v1/labs/"+r.lab.String()+"/blobs/"+strings.Repeat("ab", 32), io.MultiReader(strings.NewReader("x")))
	if err != nil {
		t.Fatal(err)
	}
	q.Header.Set("Authorization", "Bearer "+token(t, r))
	resp, err := http.DefaultClient.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	if err := resp.Body.Close(); err != nil {
		t.Error(err)
	}
	if resp.StatusCode != http.StatusBadRequest {
		t.Errorf("without a length: status %d, want 400", resp.StatusCode)
	}
}

func TestHostileRequestsAreRefused(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tok := token(t, r)
	lab, node := r.lab.String(), r.agent.Node.ID.String()
	for name, q := range map[string]struct {
		method, path, media string
		body                []byte
		want                int
	}{
		"no CBOR":               {"POST", "/hello", "application/cbor", []byte{0xff, 0xff}, 400},
		"another media type":    {"POST", "/hello", "application/x-www-form-urlencoded", []byte("a=b"), 400},
		"nested without end":    {"POST", "/hello", "application/cbor", bytes.Repeat([]byte{0x81}, 1000), 400},
		"a long question":       {"POST", "/hello", "application/cbor", make([]byte, 2<<20), 413},
		"no chain":              {"POST", "/push/x/y/z", "application/vnd.thudbook.records", nil, 400},
		"epoch out of range":    {"POST", "/push/" + node + "/" + lab + "/99999999999", "application/vnd.thudbook.records", nil, 400},
		"no frames":             {"POST", "/push/" + node + "/" + lab + "/1", "application/vnd.thudbook.records", []byte("GET / HTTP/1.1"), 503},
		"a sum that is a path":  {"PUT", "/labs/" + lab + "/blobs/..%2f..%2fetc%2fpasswd", "application/octet-stream", []byte("x"), 400},
		"a lab that is none":    {"POST", "/labs/all/blobs/have", "application/cbor", []byte{0xa0}, 400},
		"a call that is none":   {"POST", "/labs/" + lab + "/delete", "application/cbor", nil, 404},
		"upper levels":          {"GET", "/labs/" + lab + "/blobs/" + strings.Repeat("00", 32), "", nil, 404},
		"a hello of nobody":     {"POST", "/hello", "application/cbor", []byte{0xa0}, 403},
		"reading with a change": {"DELETE", "/labs/" + lab + "/blobs/" + strings.Repeat("00", 32), "", nil, 404},
	} {
		req, err := http.NewRequestWithContext(t.Context(), q.method, r.http.URL+"/sync/v1"+q.path, bytes.NewReader(q.body))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Authorization", "Bearer "+tok)
		req.Header.Set("Content-Type", q.media)
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		body := mustRead(t, resp.Body)
		if err := resp.Body.Close(); err != nil {
			t.Error(err)
		}
		if resp.StatusCode != q.want || resp.Header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: status %d, %s: %s; want %d", name, resp.StatusCode, resp.Header.Get("Content-Type"), body, q.want)
		}
	}
}

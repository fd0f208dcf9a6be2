package httppeer_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/problem"
)

// A network's sign-in page answers everything with 200 and HTML, or sends
// everybody to itself; a proxy says 502; another program says something else.
func TestSomebodyElseAnswers(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		serve http.HandlerFunc
		words string
	}{
		"sign-in page": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			_, _ = w.Write([]byte("<html>Welcome to our guest network</html>"))
		}, "does not lead to the server"},
		"redirect to a sign-in page": {func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, "/login", http.StatusFound)
		}, "does not lead to the server"},
		"right media type, wrong bytes": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/cbor")
			_, _ = w.Write([]byte("hello"))
		}, "cannot be read"},
		"gateway": {func(w http.ResponseWriter, _ *http.Request) {
			http.Error(w, "bad gateway", http.StatusBadGateway)
		}, "cannot be reached now"},
		"problem without a code": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/problem+json")
			w.WriteHeader(http.StatusTeapot)
			_, _ = w.Write([]byte(`{"title":"no"}`))
		}, "does not lead to the server"},
		"nothing": {func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }, "connection to the server broke"},
	} {
		r := newRig(t)
		other := httptest.NewServer(c.serve)
		_, err := r.run(t.Context(), r.client(t, other.URL))
		other.Close()
		p, ok := problem.As(err)
		if !ok || p.Code != problem.Unavailable || !strings.Contains(p.What, c.words) || p.Fix == "" {
			t.Errorf("%s: %v, want a problem with code unavailable that says %q", name, err, c.words)
		}
	}
}

func TestNoServerInWords(t *testing.T) {
	t.Parallel()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	closed := "http://" + ln.Addr().String()
	if err := ln.Close(); err != nil {
		t.Fatal(err)
	}
	r := newRig(t)
	for url, words := range map[string]string{
		closed:                    "not running",
		"http://thudbook.invalid": "is not known on this network", // RFC 6761: never resolves
		strings.Replace(r.http.URL, "http", "https", 1): "does not speak TLS",
	} {
		_, err := r.run(t.Context(), r.client(t, url))
		p, ok := problem.As(err)
		if !ok || p.Code != problem.Unavailable || !strings.Contains(p.What, words) {
			t.Errorf("%s: %v, want words like %q", url, err, words)
		}
	}
}

// A server that accepts and then is silent is given up after the progress
// limit; one that is slow but moves is not.
func TestSilenceEndsASessionSlownessDoesNot(t *testing.T) {
	r := newRig(t)
	exchangetest.Shots(t, r.agent, r.lab, 1, 100)
	done := make(chan struct{})
	silent := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, q *http.Request) {
		select {
		case <-done:
		case <-q.Context().Done():
		}
	}))
	defer silent.Close()
	defer close(done)
	c, err := httppeer.NewClient(httppeer.ClientOptions{URL: silent.URL, Node: r.agent.Node.ID, Key: r.agent.Node.PrivateKey, Server: exchangetest.Pin(r.service),
		HTTP: httppeer.NewTransport(httppeer.TransportOptions{Progress: 300 * time.Millisecond})})
	if err != nil {
		t.Fatal(err)
	}
	_, err = r.run(t.Context(), c)
	if p, ok := problem.As(err); !ok || p.Code != problem.Unavailable || !strings.Contains(p.What, "in time") {
		t.Errorf("silence: %v, want words about time", err)
	}

	const limit = 2 * time.Second // on both sides
	slow := exchangetest.Shot(t, r.agent, r.lab, "slow", make([]byte, 60))
	r.serve(t, httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{Progress: limit}))
	c, err = httppeer.NewClient(httppeer.ClientOptions{URL: r.http.URL, Node: r.agent.Node.ID, Key: r.agent.Node.PrivateKey, Server: exchangetest.Pin(r.service),
		HTTP: httppeer.NewTransport(httppeer.TransportOptions{Progress: limit, Header: limit})})
	if err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	err = c.PutBlob(t.Context(), r.lab, exchange.BlobRef{SHA256: slow.Attachments[0].SHA256, Size: 60}, &trickle{left: 60, pause: limit / 20})
	if err != nil {
		t.Errorf("a slow body: %v", err)
	}
	if took := time.Since(start); took < limit {
		t.Errorf("the body took %v, too short to prove that %v is no limit on the whole", took, limit)
	}
}

// trickle gives zero bytes one by one.
type trickle struct {
	left  int
	pause time.Duration
}

func (s *trickle) Read(p []byte) (int, error) {
	if s.left == 0 {
		return 0, io.EOF
	}
	time.Sleep(s.pause)
	s.left--
	p[0] = 0
	return 1, nil
}

func TestStopEndsASession(t *testing.T) {
	r := newRig(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := r.run(ctx, r.client(t, r.http.URL)); ctx.Err() == nil || err == nil {
		t.Errorf("a stopped session: %v", err)
	}
}

// authority makes certificates of a private authority.
type authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	pool *x509.CertPool
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test authority"}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().AddDate(5, 0, 0), IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(cert)
	return &authority{cert, key, pool}
}

// serve starts TLS with a certificate for an address.
func (a *authority) serve(t *testing.T, h http.Handler, ip string) *httptest.Server {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: "test server"}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().AddDate(1, 0, 0), IPAddresses: []net.IP{net.ParseIP(ip)}, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, a.cert, key.Public(), a.key)
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewUnstartedServer(h)
	s.Config.ErrorLog = discard()
	s.TLS = &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}
	s.StartTLS()
	t.Cleanup(s.Close)
	return s
}

// With the pinned key a certificate's dates warn only; everything else about
// it is checked as always.
func TestCertificates(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	exchangetest.Shots(t, r.agent, r.lab, 1, 100)
	ca, other := newAuthority(t), newAuthority(t)
	good := ca.serve(t, r.handler, "127.0.0.1").URL
	misnamed := ca.serve(t, r.handler, "192.0.2.1").URL
	at := func(year int) func() time.Time {
		return func() time.Time { return time.Date(year, 3, 4, 5, 6, 7, 0, time.UTC) }
	}
	for name, c := range map[string]struct {
		url    string
		roots  *x509.CertPool
		now    func() time.Time
		pinned bool
		words  string // of the problem; "" for none
		warned bool
	}{
		"right":                            {good, ca.pool, nil, true, "", false},
		"right, not pinned":                {good, ca.pool, nil, false, "", false},
		"clock at 1970, pinned":            {good, ca.pool, at(1970), true, "", true},
		"clock at 2099, pinned":            {good, ca.pool, at(2099), true, "", true},
		"clock at 2099, not pinned":        {good, ca.pool, at(2099), false, "not valid at this computer's date", false},
		"unknown authority":                {good, other.pool, nil, true, "authority that this computer does not know", false},
		"unknown authority, 2099":          {good, other.pool, at(2099), true, "authority that this computer does not know", false},
		"another name":                     {misnamed, ca.pool, nil, true, "for another name", false},
		"another name, clock at 1970":      {misnamed, ca.pool, at(1970), true, "for another name", false},
		"unknown authority, not pinned":    {good, other.pool, nil, false, "authority that this computer does not know", false},
		"another name, before the pinning": {misnamed, ca.pool, nil, false, "for another name", false},
	} {
		warned := false
		o := httppeer.TransportOptions{Roots: c.roots, Now: c.now}
		if c.pinned {
			o.DatesWarn = func(*x509.Certificate) { warned = true }
		}
		client, err := httppeer.NewClient(httppeer.ClientOptions{URL: c.url, Node: r.agent.Node.ID, Key: r.agent.Node.PrivateKey, Server: exchangetest.Pin(r.service), HTTP: httppeer.NewTransport(o)})
		if err != nil {
			t.Fatal(err)
		}
		_, err = r.run(t.Context(), client)
		client.Close()
		p, _ := problem.As(err)
		if (err == nil) != (c.words == "") || err != nil && (p == nil || !strings.Contains(p.What, c.words)) {
			t.Errorf("%s: %v, want words like %q", name, err, c.words)
		}
		if warned != c.warned {
			t.Errorf("%s: warned %v, want %v", name, warned, c.warned)
		}
	}
}

func TestCheckURL(t *testing.T) {
	for url, want := range map[string]struct{ strict, plain bool }{
		"https://thudbook.example":      {true, true},
		"https://192.0.2.1:8443/sub":    {true, true},
		"http://127.0.0.1:8080":         {true, true},
		"http://localhost:8080":         {true, true},
		"http://[::1]:8080":             {true, true},
		"http://thudbook.example":       {false, true},
		"http://127.0.0.1.evil.example": {false, true},
		"https://user:pw@host":          {false, false},
		"https://host/?a=b":             {false, false},
		"ftp://host":                    {false, false},
		"thudbook.example":              {false, false},
		"":                              {false, false},
	} {
		if err := httppeer.CheckURL(url, false); (err == nil) != want.strict {
			t.Errorf("%q: %v, want accepted: %v", url, err, want.strict)
		}
		if err := httppeer.CheckURL(url, true); (err == nil) != want.plain {
			t.Errorf("%q behind a proxy: %v, want accepted: %v", url, err, want.plain)
		}
	}
}

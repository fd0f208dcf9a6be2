package server_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/server"
	"thudbook/sync/problem"
)

// TestListen: plain HTTP is for loopback, unless a proxy in front speaks TLS.
func TestListen(t *testing.T) {
	t.Parallel()
	for what, c := range map[string]struct {
		o    server.Options
		want string
	}{
		"all addresses":    {server.Options{Listen: ":0"}, "Passwords would cross the network unencrypted"},
		"an address":       {server.Options{Listen: "192.0.2.1:8370"}, "--cert and --key"},
		"a name":           {server.Options{Listen: "thudbook.example:8370"}, "--proxy"},
		"no port":          {server.Options{Listen: "127.0.0.1"}, "not of the form HOST:PORT"},
		"half a pair":      {server.Options{CertFile: "cert.pem"}, "belong together"},
		"no such file":     {server.Options{Listen: "127.0.0.1:0", CertFile: "no.pem", KeyFile: "no.key"}, "certificate or its key cannot be used"},
		"no data folder":   {server.Options{Data: "-", Listen: "127.0.0.1:0"}, "are required"},
		"file as a folder": {server.Options{Data: "run_test.go", Listen: "127.0.0.1:0"}, "data folder cannot be made"},
	} {
		o := c.o
		switch o.Data {
		case "":
			o.Data = t.TempDir()
		case "-":
			o.Data = ""
		}
		o.Log = slog.New(slog.DiscardHandler)
		if err := server.Run(t.Context(), o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want an error that says %q", what, err, c.want)
		}
	}
}

// TestTwoOverOneFolder: a second server over the same folder says so and ends.
func TestTwoOverOneFolder(t *testing.T) {
	t.Parallel()
	w := start(t)
	err := server.Run(t.Context(), server.Options{Data: w.dir, Listen: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler)})
	if problem.Of(err) != problem.Unavailable || !strings.Contains(err.Error(), "another thudbook") {
		t.Errorf("a second server: %v", err)
	}
	w.admin.get("/").want(t, 200, "the first one afterwards")
}

// TestTLS: HTTPS from TLS 1.2 on, with a cookie that is bound to the host.
func TestTLS(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	pool := selfSigned(t, dir)
	addr := filepath.Join(dir, "address")
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	data := filepath.Join(dir, "data")
	go func() {
		ended <- server.Run(ctx, server.Options{Data: data, Listen: "127.0.0.1:0", ListenFile: addr, CertFile: filepath.Join(dir, "cert.pem"), KeyFile: filepath.Join(dir, "key.pem"), Log: slog.New(slog.DiscardHandler)})
	}()
	defer func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("the server ended with %v", err)
		}
	}()
	var host string
	for deadline := time.Now().Add(20 * time.Second); host == ""; time.Sleep(5 * time.Millisecond) {
		if b, err := os.ReadFile(addr); err == nil {
			host = strings.TrimSpace(string(b))
		}
		if time.Now().After(deadline) {
			t.Fatal("the server did not start")
		}
	}
	c := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	password, err := os.ReadFile(filepath.Join(data, server.FirstPasswordFile))
	if err != nil {
		t.Fatal(err)
	}
	res, err := c.PostForm("https://"+host+"/signin", signInForm("admin", strings.TrimSpace(string(password)), ""))
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	cookie := res.Header.Get("Set-Cookie")
	if res.StatusCode != 303 || !strings.HasPrefix(cookie, "__Host-thudbook=") || !strings.Contains(cookie, "Secure") || res.Header.Get("Strict-Transport-Security") == "" {
		t.Errorf("status %d, cookie %q, HSTS %q", res.StatusCode, cookie, res.Header.Get("Strict-Transport-Security"))
	}
	if conn, err := tls.Dial("tcp", host, &tls.Config{RootCAs: pool, MaxVersion: tls.VersionTLS11}); err == nil {
		conn.Close()
		t.Error("the server speaks TLS 1.1")
	}
}

// selfSigned writes a certificate for the loopback address and its key.
func selfSigned(t *testing.T, dir string) *x509.CertPool {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string]*pem.Block{"cert.pem": {Type: "CERTIFICATE", Bytes: der}, "key.pem": {Type: "PRIVATE KEY", Bytes: raw}} {
		if err := os.WriteFile(filepath.Join(dir, name), pem.EncodeToMemory(b), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(cert)
	return pool
}

// TestHostName: on loopback the server answers to the machine's own names only,
// so that no page can point a name of its own at it.
func TestHostName(t *testing.T) {
	t.Parallel()
	w := start(t)
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, w.url+"/healthz", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Host = "rebound.example"
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusMisdirectedRequest {
		t.Errorf("status %d under another name", res.StatusCode)
	}
}

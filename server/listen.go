package server

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"sync"
	"time"

	"thudbook/sync/problem"
	"thudbook/web/httpkit"
)

func (o *Options) withTLS() bool { return o.CertFile != "" }

func (o *Options) scheme() string {
	if o.withTLS() {
		return "https"
	}
	return "http"
}

// secure says that browsers reach the server by HTTPS.
func (o *Options) secure() bool { return o.withTLS() || len(o.Proxies) > 0 }

// hosts are the names that the server answers to; on loopback only the
// machine's own, so that no other name can be pointed at it.
func (o *Options) hosts() []string {
	if o.secure() {
		return nil
	}
	return httpkit.LoopbackHosts()
}

// checkListen refuses what would send passwords over a network in the clear.
func (o *Options) checkListen() error {
	if (o.CertFile == "") != (o.KeyFile == "") {
		return problem.New(problem.Invalid, "A certificate and its key belong together.", "Give both --cert and --key.")
	}
	host, _, err := net.SplitHostPort(o.Listen)
	if err != nil {
		return &problem.Error{Code: problem.Invalid, What: "The address " + o.Listen + " is not of the form HOST:PORT.", Fix: "Write it as " + DefaultListen + ".", Err: err}
	}
	if o.secure() || loopback(host) {
		return nil
	}
	return problem.New(problem.Invalid, "Passwords would cross the network unencrypted: "+o.Listen+" can be reached from other machines.",
		"Give --cert and --key to speak TLS, or --proxy with the address of a proxy in front that does; plain HTTP is for 127.0.0.1, ::1 and localhost.")
}

func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// listen opens the address, with TLS when there is a certificate.
func listen(o *Options) (net.Listener, error) {
	var conf *tls.Config
	if o.withTLS() {
		c := &certificate{certFile: o.CertFile, keyFile: o.KeyFile, now: o.Now}
		if _, err := c.get(nil); err != nil {
			return nil, err
		}
		conf = &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get, NextProtos: []string{"h2", "http/1.1"}}
	}
	l, err := net.Listen("tcp", o.Listen)
	if err != nil {
		return nil, &problem.Error{Code: problem.Unavailable, What: "The address " + o.Listen + " cannot be used.",
			Fix: "See whether another server runs on this machine, or choose another port with --listen.", Err: err}
	}
	if a, ok := l.Addr().(*net.TCPAddr); ok && !o.secure() && !a.IP.IsLoopback() { // localhost may mean anything
		o.Listen = l.Addr().String()
		return nil, errors.Join(o.checkListen(), l.Close())
	}
	if conf != nil {
		return tls.NewListener(l, conf), nil
	}
	return l, nil
}

// certificate is read again when its files change, so that it can be renewed
// while the server runs.
type certificate struct {
	certFile, keyFile string
	now               func() time.Time

	mu     sync.Mutex
	have   *tls.Certificate
	stamp  [2]time.Time // of the files that it was read from
	looked time.Time
}

const lookEvery = time.Minute

func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.now()
	if c.have != nil && now.Sub(c.looked) < lookEvery {
		return c.have, nil
	}
	c.looked = now
	stamp, err := c.times()
	if err == nil && (c.have == nil || stamp != c.stamp) {
		var pair tls.Certificate
		if pair, err = tls.LoadX509KeyPair(c.certFile, c.keyFile); err == nil {
			c.have, c.stamp = &pair, stamp
		}
	}
	if c.have != nil { // a renewal that is half done: go on with what there is
		return c.have, nil
	}
	return nil, &problem.Error{Code: problem.Invalid, What: "The certificate or its key cannot be used.", Where: c.certFile + ", " + c.keyFile,
		Fix: "Check that both are PEM files, belong together and may be read.", Err: err}
}

func (c *certificate) times() (t [2]time.Time, err error) {
	for i, name := range []string{c.certFile, c.keyFile} {
		fi, err := os.Stat(name)
		if err != nil {
			return t, fmt.Errorf("look at %s: %w", name, err)
		}
		t[i] = fi.ModTime()
	}
	return t, nil
}

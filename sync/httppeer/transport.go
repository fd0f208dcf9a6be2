package httppeer

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"net"
	"net/http"
	"time"
)

// TransportOptions may all be zero.
type TransportOptions struct {
	Roots *x509.CertPool // nil: those of the system
	// DatesWarn is set once a server's key is pinned: then every answer is
	// checked against that key, and a certificate that is right in everything
	// but its dates is accepted, because the clock of a rig PC may be years off.
	// It is called with the certificate whose dates do not fit.
	DatesWarn func(*x509.Certificate)
	Now       func() time.Time
	Connect   time.Duration // 0: 10 s
	Header    time.Duration // from the end of the request to the answer; 0: 30 s
	Progress  time.Duration // without a byte in either direction; 0: 30 s
}

// NewTransport makes the transport of a client: bounded in silence, not in
// total time.
func NewTransport(o TransportOptions) *http.Transport {
	or := func(d *time.Duration, def time.Duration) {
		if *d <= 0 {
			*d = def
		}
	}
	or(&o.Connect, 10*time.Second)
	or(&o.Header, 30*time.Second)
	or(&o.Progress, 30*time.Second)
	if o.Now == nil {
		o.Now = time.Now
	}
	d := &net.Dialer{Timeout: o.Connect, KeepAlive: 15 * time.Second}
	dial := progressDial(d.DialContext, o.Progress)
	t := &http.Transport{
		Proxy:                  http.ProxyFromEnvironment,
		DialContext:            dial,
		TLSClientConfig:        &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: o.Roots, Time: o.Now},
		TLSHandshakeTimeout:    o.Connect,
		ResponseHeaderTimeout:  o.Header,
		MaxResponseHeaderBytes: 64 << 10,
		MaxIdleConnsPerHost:    8,
		IdleConnTimeout:        20 * time.Second,
		DisableCompression:     true,
	}
	if o.DatesWarn != nil {
		t.DialTLSContext = func(ctx context.Context, network, address string) (net.Conn, error) {
			return dialButDates(ctx, o, dial, network, address)
		}
	}
	return t
}

// dialButDates connects with a check that differs from the library's own in a
// single point: the dates. Chain, name and use are checked as always.
func dialButDates(ctx context.Context, o TransportOptions, dial dialFunc, network, address string) (net.Conn, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, err
	}
	raw, err := dial(ctx, network, address)
	if err != nil {
		return nil, err
	}
	conn := tls.Client(raw, &tls.Config{
		MinVersion:         tls.VersionTLS12,
		ServerName:         host,
		InsecureSkipVerify: true, // VerifyConnection takes its place
		VerifyConnection:   func(s tls.ConnectionState) error { return verifyButDates(o, host, s.PeerCertificates) },
	})
	ctx, cancel := context.WithTimeout(ctx, o.Connect)
	defer cancel()
	if err := conn.HandshakeContext(ctx); err != nil {
		return nil, errors.Join(err, raw.Close())
	}
	return conn, nil
}

func verifyButDates(o TransportOptions, host string, chain []*x509.Certificate) error {
	if len(chain) == 0 || host == "" {
		return errors.New("the server sent no certificate")
	}
	leaf := chain[0]
	opts := x509.VerifyOptions{Roots: o.Roots, DNSName: host, CurrentTime: o.Now(), Intermediates: x509.NewCertPool()}
	for _, cert := range chain[1:] {
		opts.Intermediates.AddCert(cert)
	}
	_, err := leaf.Verify(opts)
	invalid, ok := errors.AsType[x509.CertificateInvalidError](err)
	if err == nil || !ok || invalid.Reason != x509.Expired {
		return wrapVerify(err, chain)
	}
	// A moment at which the leaf was valid; the issuer has to be valid then too.
	opts.CurrentTime = leaf.NotBefore.Add(leaf.NotAfter.Sub(leaf.NotBefore) / 2)
	if _, err := leaf.Verify(opts); err != nil {
		return wrapVerify(err, chain)
	}
	o.DatesWarn(leaf)
	return nil
}

func wrapVerify(err error, chain []*x509.Certificate) error {
	if err == nil {
		return nil
	}
	return &tls.CertificateVerificationError{UnverifiedCertificates: chain, Err: err}
}

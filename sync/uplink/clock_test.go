package uplink_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"io"
	"log"
	"math/big"
	"net"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
	"thudbook/sync/uplink"
)

// overTLS serves the site with a certificate that signs itself.
func (s *site) overTLS(t *testing.T) (url string, roots *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test server"}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().AddDate(1, 0, 0), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	web := httptest.NewUnstartedServer(s.web.Config.Handler)
	web.Config.ErrorLog = log.New(io.Discard, "", 0)
	web.TLS = &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}
	web.StartTLS()
	t.Cleanup(web.Close)
	roots = x509.NewCertPool()
	roots.AddCert(cert)
	return web.URL, roots
}

// A rig whose clock jumps to 1970 or to 2099 records, and exchanges over TLS by
// the key that it pinned; people are told; and the wrong clock harms nobody
// else (H1 to H4, I7).
func TestRigClockYearsOff(t *testing.T) {
	t.Parallel()
	for name, wrong := range map[string]time.Time{
		"1970": time.Date(1970, 1, 1, 0, 0, 5, 0, time.UTC),
		"2099": time.Date(2099, 12, 31, 23, 59, 0, 0, time.UTC),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var off atomic.Int64
			now := func() time.Time { return time.Now().Add(time.Duration(off.Load())) }
			s := newSite(t, nil)
			s.agent = ledgertest.Open(t, ledgertest.Options{Now: now})
			url, roots := s.overTLS(t)
			u := open(t, s.agent, uplink.Options{Roots: roots, Now: now, MinBackoff: time.Millisecond, MaxBackoff: 50 * time.Millisecond})
			if err := u.Enrol(t.Context(), url, s.code(t)); err != nil {
				t.Fatal(err)
			}
			before := exchangetest.Shot(t, s.agent, s.lab, "right clock", nil)

			off.Store(int64(time.Until(wrong)))
			u = open(t, s.agent, uplink.Options{Roots: roots, Now: now, MinBackoff: time.Millisecond, MaxBackoff: 50 * time.Millisecond})
			stop := start(t, u)
			defer func() { stop() }()
			exchangetest.Shots(t, s.agent, s.lab, 3, 100)
			planned := exchangetest.Shot(t, s.server, s.lab, "plan", nil)
			u.Wake()
			st := until(t, u, "in step", func(st uplink.State) bool {
				head, err := s.agent.Head(t.Context(), planned.Origin())
				return inStep(st) && st.PendingAttachments == 0 && err == nil && head.Seq >= planned.Seq
			})
			exchangetest.Same(t, s.agent, s.server, true, s.lab)

			// A person is told of the clock, and of the certificate's dates.
			if st.ClockWarning == "" || st.ClockOffset.Abs() < 30*365*24*time.Hour {
				t.Errorf("clock %v, %q", st.ClockOffset, st.ClockWarning)
			}
			if all := strings.Join(st.Notices, "\n"); !strings.Contains(all, "certificate is valid from") {
				t.Errorf("notices %q", st.Notices)
			}
			// Stamps rise along the chain, whatever the wall clock did.
			last := before.Clock
			recs, err := s.agent.Read(t.Context(), s.agent.Own(s.lab), before.Seq, 1<<20)
			if err != nil || len(recs) != 3 {
				t.Fatalf("%d records, %v", len(recs), err)
			}
			for i := range recs {
				if recs[i].Clock <= last {
					t.Errorf("record %d: stamp %d after %d", recs[i].Seq, recs[i].Clock, last)
				}
				// They follow the time of others, so that what others decide later is later.
				if d := time.Until(recs[i].Clock.Wall()); d > time.Minute || d < -time.Hour {
					t.Errorf("record %d: the stamp lies at %v", recs[i].Seq, recs[i].Clock.Wall())
				}
				if wall := time.Unix(0, recs[i].WallNS); wall.Sub(wrong).Abs() > time.Hour {
					t.Errorf("record %d: the clock as it stood is %v, want about %v", recs[i].Seq, wall, wrong)
				}
				last = recs[i].Clock
			}
			// The server keeps and flags what a wrong clock wrote, and does not follow.
			if suspect := suspects(t, s.server); len(suspect) != 3 {
				t.Errorf("the server flags %d records, want 3", len(suspect))
			}
			if next := exchangetest.Shot(t, s.server, s.lab, "later", nil); time.Until(next.Clock.Wall()) > 11*time.Minute {
				t.Errorf("the server's stamps went to %v", next.Clock.Wall())
			}
			// Clock mended: nothing is stuck, and the next stamps still rise.
			stop()
			off.Store(0)
			s.agent.Reopen(t)
			u = open(t, s.agent, uplink.Options{Roots: roots, Now: now, MinBackoff: time.Millisecond, MaxBackoff: 50 * time.Millisecond})
			stop = start(t, u)
			if r := exchangetest.Shot(t, s.agent, s.lab, "mended", nil); r.Clock <= last || time.Since(r.Clock.Wall()).Abs() > time.Minute {
				t.Errorf("after the clock was mended: stamp %d after %d", r.Clock, last)
			}
			u.Wake()
			st = until(t, u, "in step again", inStep)
			if st.ClockWarning != "" {
				t.Errorf("still: %q", st.ClockWarning)
			}
		})
	}
}

func suspects(t *testing.T, l *ledgertest.Ledger) (refs []record.Ref) {
	t.Helper()
	err := l.View(t.Context(), func(r kv.Reader) (err error) {
		refs, err = ledger.ScanSuspects(r)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return refs
}

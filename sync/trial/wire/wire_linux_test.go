package wire

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"thudbook/sync/trial/programtest"
)

// What is asked of the exchange on a line.
const (
	leastGoodput = 0.85 // of the rate, with at most goodputLoss percent lost
	goodputLoss  = 2
	drawsOfLoss  = 3         // a line that loses at random may lose what costs most; so many drains are looked at
	mostBytes    = 1.2       // frames in both directions, of the stored bytes, in the same lines
	fewBytes     = 300 << 10 // up to here the greeting may come on top
	greeting     = 32 << 10  // bytes of a session's beginning, and of its receipts, whatever the backlog
)

// sizes of the sources; larger ones go over faster lines, as nobody would
// send films over a modem.
const (
	smallSource = 12 << 10
	largeSource = 100 << 10
)

func cases() []shape {
	if !full() {
		return []shape{
			{kbit: 256, bytes: 160 << 10},
			{kbit: 1000, loss: 2, bytes: 400 << 10},
			{kbit: 1000, loss: 20, flap: 2 * time.Second, bytes: 3 * smallSource},
		}
	}
	var all []shape
	for _, kbit := range []int{64, 256, 1000, 10_000} {
		for _, loss := range []int{0, 2, 10, 20} {
			for _, flap := range []time.Duration{0, time.Second} {
				s := shape{kbit: kbit, loss: loss, flap: flap}
				if loss > goodputLoss || flap > 0 {
					s.bytes = min(kbit*1000/8*10, 400<<10) / 3
				}
				all = append(all, s)
			}
		}
	}
	return all
}

// world is an agent and a server at the two ends of a line, speaking TLS.
type world struct {
	*line
	server *programtest.Server
	agent  *programtest.Agent
	posted map[string][]byte
}

func newWorld(t *testing.T) *world {
	l := newLine(t)
	roots, cert, key, ca := certificate(t)
	far := programtest.Program{Under: []string{"ip", "netns", "exec", l.b}, Dial: dial(l.b), Roots: roots}
	near := programtest.Program{Under: []string{"ip", "netns", "exec", l.a}, Dial: dial(l.a)}
	w := &world{line: l, posted: map[string][]byte{}}
	w.server = far.StartServer(t, "--listen", serverIP+":8443", "--cert", cert, "--key", key)
	channels := filepath.Join(t.TempDir(), "map.toml")
	if err := os.WriteFile(channels, []byte(programtest.NoiseMap), 0o600); err != nil {
		t.Fatal(err)
	}
	w.agent = near.StartAgent(t, "--map", channels, "--server", "https://"+serverIP+":8443", "--code", w.server.Code(), "--ca-file", ca)
	programtest.Wait(t, time.Minute, "the agent is enrolled", w.agent.Drained)
	return w
}

// post records shots until so many bytes of sources are there.
func (w *world) post(bytes, each int) {
	w.t.Helper()
	for n := 0; n < bytes; n += each {
		source := programtest.Noise(len(w.posted), each)
		w.posted[w.agent.Post(fmt.Sprintf("noise-%05d.wav", len(w.posted)), source)] = source
	}
}

// outcome is what the drain of a backlog took.
type outcome struct {
	stored, sent int64
	took         time.Duration
	breaks       int
}

func (o *outcome) goodput(kbit int) float64 {
	return float64(o.stored) * 8 / 1000 / o.took.Seconds() / float64(kbit)
}

func (o *outcome) cost() float64 { return float64(o.sent) / float64(o.stored) }

// drain collects a backlog behind a broken line and lets it go over one of a shape.
func (w *world) drain(s shape) outcome {
	w.t.Helper()
	each := smallSource
	if s.kbit > 1000 {
		each = largeSource
	}
	if s.bytes == 0 {
		s.bytes = s.kbit * 1000 / 8 * 10
	}
	w.up(false)
	w.set(s)
	n := max(s.bytes/each, 2)
	w.post((n-1)*each, each)
	o := outcome{stored: w.agent.Sync().Bytes * int64(n) / int64(n-1)} // with the one that is to come
	before, began := w.sent(), time.Now()
	w.up(true)
	w.post(1, each) // wakes the agent
	stop := w.breaks(s.flap)
	programtest.Wait(w.t, 20*time.Minute, fmt.Sprintf("%s: a backlog of %d bytes is acknowledged", s, o.stored), w.agent.Drained)
	o.took = time.Since(began)
	o.breaks = stop()
	o.sent = w.sent() - before
	w.t.Logf("%s: %d bytes stored, %.3f times as many sent, %.1f s, goodput %.3f of the rate, frames %.3f of it, %d breaks",
		s, o.stored, o.cost(), o.took.Seconds(), o.goodput(s.kbit), o.cost()*o.goodput(s.kbit), o.breaks)
	return o
}

// check compares every shot on the server with what was posted.
func (w *world) check() {
	w.t.Helper()
	w.set(shape{kbit: 1_000_000})
	listed := w.server.Shots()
	if len(listed) != len(w.posted) {
		w.t.Errorf("the server lists %d shots, %d were acknowledged by the agent", len(listed), len(w.posted))
	}
	for id, want := range w.posted {
		if !bytes.Equal(w.server.Source(id), want) {
			w.t.Errorf("the source of shot %s is not on the server as it was posted", id)
		}
	}
	w.agent.Stop()
	w.server.Stop()
	bin, err := programtest.Built()
	if err != nil {
		w.t.Fatal(err)
	}
	for _, data := range []string{w.agent.Data, w.server.Data} {
		if out, err := exec.Command(bin, "verify", "--data", data).CombinedOutput(); err != nil {
			w.t.Errorf("verify: %v\n%s", err, out)
		}
	}
}

// TestEveryLineConverges: whatever a line loses and however often it breaks,
// the backlog arrives whole; a line that works is used.
func TestEveryLineConverges(t *testing.T) {
	w := newWorld(t)
	for _, s := range cases() {
		o := w.drain(s)
		if s.loss <= goodputLoss && s.flap == 0 {
			best := o.goodput(s.kbit)
			for draw := 1; s.loss > 0 && best < leastGoodput && draw < drawsOfLoss; draw++ {
				again := w.drain(s)
				best = max(best, again.goodput(s.kbit))
			}
			if best < leastGoodput {
				t.Errorf("%s: goodput %.3f of the rate, want at least %.2f", s, best, leastGoodput)
			}
			most := mostBytes * float64(o.stored)
			if o.stored <= fewBytes {
				most += greeting
			}
			if float64(o.sent) > most {
				t.Errorf("%s: %.3f times the %d stored bytes were sent, want at most %.0f bytes", s, o.cost(), o.stored, most)
			}
		}
	}
	w.check()
}

// TestBacklogOf500Shots is what an evening's work at the end of a thin line costs.
func TestBacklogOf500Shots(t *testing.T) {
	if !full() {
		t.Skip("four minutes: make wire")
	}
	w := newWorld(t)
	o := w.drain(shape{kbit: 256, bytes: 500 * smallSource})
	if c := o.cost(); c > mostBytes {
		t.Errorf("%.3f times the stored bytes were sent, want at most %.1f", c, mostBytes)
	}
	w.check()
}

// certificate makes an authority and a certificate of it for the server's end.
func certificate(t *testing.T) (roots *x509.CertPool, cert, key, ca string) {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	must(err)
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "trial"}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().AddDate(1, 0, 0), IPAddresses: []net.IP{net.ParseIP(serverIP)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, k.Public(), k)
	must(err)
	keyDER, err := x509.MarshalPKCS8PrivateKey(k)
	must(err)
	dir := t.TempDir()
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	certPEM := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	must(os.WriteFile(cert, certPEM, 0o600))
	must(os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER}), 0o600))
	roots = x509.NewCertPool()
	roots.AppendCertsFromPEM(certPEM)
	return roots, cert, key, cert
}

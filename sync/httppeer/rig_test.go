package httppeer_test

import (
	"context"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// rig is an agent and a server with a real connection between them.
type rig struct {
	agent, server *ledgertest.Ledger
	service       *exchange.Service
	registry      *exchangetest.Registry
	handler       *httppeer.Handler
	http          *httptest.Server
	lab           record.LabID
}

func newRig(t testing.TB) *rig {
	t.Helper()
	r := &rig{agent: ledgertest.Open(t), server: ledgertest.Open(t), registry: &exchangetest.Registry{}, lab: exchangetest.Lab(t)}
	r.service = exchangetest.Service(t, r.server)
	r.registry.Add(exchangetest.Principal(r.agent, r.lab))
	r.serve(t, httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{}))
	return r
}

func (r *rig) serve(t testing.TB, h *httppeer.Handler) {
	t.Helper()
	r.handler = h
	r.serveAny(t, h)
}

func (r *rig) serveAny(t testing.TB, h http.Handler) {
	t.Helper()
	r.http = httptest.NewUnstartedServer(h)
	r.http.Config.ErrorLog = discard()
	r.http.Start()
	t.Cleanup(r.http.Close)
}

// discard keeps the handshakes that tests break on purpose out of the output.
func discard() *log.Logger { return log.New(io.Discard, "", 0) }

func (r *rig) client(t testing.TB, url string) *httppeer.Client {
	t.Helper()
	c, err := httppeer.NewClient(httppeer.ClientOptions{URL: url, Node: r.agent.Node.ID, Key: r.agent.Node.PrivateKey, Server: exchangetest.Pin(r.service)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	return c
}

func (r *rig) run(ctx context.Context, p exchange.Peer) (exchange.Result, error) {
	return exchange.Run(ctx, exchangetest.Options(r.agent, r.service), p)
}

// cutter is a TCP proxy that cuts all connections after a number of bytes in
// one direction, and lets none through until it is mended.
type cutter struct {
	ln     net.Listener
	target string

	mu    sync.Mutex
	left  [2]int // bytes to the server, to the client; negative: no limit
	conns map[net.Conn]bool
	wg    sync.WaitGroup
}

const (
	toServer = 0
	toClient = 1
)

func newCutter(t *testing.T, target string) *cutter {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cutter{ln: ln, target: target, left: [2]int{-1, -1}, conns: map[net.Conn]bool{}}
	c.wg.Go(c.accept)
	t.Cleanup(func() {
		if err := ln.Close(); err != nil {
			t.Error(err)
		}
		c.cut()
		c.wg.Wait()
	})
	return c
}

func (c *cutter) url() string { return "http://" + c.ln.Addr().String() }

// after sets where to cut next; mend takes the limit away.
func (c *cutter) after(way, n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.left = [2]int{-1, -1}
	c.left[way] = n
}

func (c *cutter) mend() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.left = [2]int{-1, -1}
}

func (c *cutter) accept() {
	for {
		in, err := c.ln.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", c.target)
		if err != nil {
			_ = in.Close()
			continue
		}
		c.mu.Lock()
		c.conns[in], c.conns[out] = true, true
		c.mu.Unlock()
		c.wg.Go(func() { c.pump(toServer, out, in) })
		c.wg.Go(func() { c.pump(toClient, in, out) })
	}
}

func (c *cutter) pump(way int, dst, src net.Conn) {
	buf := make([]byte, 4096)
	for {
		n, err := src.Read(buf)
		pass, cut := c.take(way, n)
		if pass > 0 {
			if _, err := dst.Write(buf[:pass]); err != nil {
				cut = true
			}
		}
		if cut {
			c.cut()
			return
		}
		if err != nil {
			_ = dst.Close()
			return
		}
	}
}

func (c *cutter) take(way, n int) (pass int, cut bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.left[way] < 0 {
		return n, false
	}
	pass = min(n, c.left[way])
	c.left[way] -= pass
	return pass, pass < n || c.left[way] == 0
}

func (c *cutter) cut() {
	c.mu.Lock()
	defer c.mu.Unlock()
	for conn := range c.conns {
		_ = conn.Close()
	}
	clear(c.conns)
}

// middlebox changes requests or answers of one path on their way.
type middlebox struct {
	next    http.RoundTripper
	request func(*http.Request)
	answer  func(*http.Response)
}

func (m *middlebox) RoundTrip(q *http.Request) (*http.Response, error) {
	if m.request != nil {
		q = q.Clone(q.Context())
		m.request(q)
	}
	resp, err := m.next.RoundTrip(q)
	if err == nil && m.answer != nil {
		m.answer(resp)
	}
	return resp, err
}

func mustRead(t testing.TB, r io.Reader) []byte {
	t.Helper()
	b, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

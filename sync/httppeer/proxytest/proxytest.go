// Package proxytest is a TCP proxy that disturbs what goes through it: it adds
// delay, cuts, alters bytes, and lets one direction fall silent. It counts what
// was sent.
package proxytest

import (
	"context"
	"math/rand/v2"
	"net"
	"sync"
	"testing"
	"time"
)

// Faults says what to do. The zero value passes everything on.
type Faults struct {
	Seed            uint64
	Latency, Jitter time.Duration // of every piece
	// CutAfter gives after how many bytes, in both directions together, all
	// connections are cut; it is asked again after each cut. 0: not any more.
	CutAfter func(*rand.Rand) int64
	// HalfClose lets every other cut end one direction only, without a word in
	// the other: the far side has to notice by itself.
	HalfClose bool
	Corrupt   float64 // share of bytes that get one bit flipped
}

// Proxy is a running proxy.
type Proxy struct {
	ln     net.Listener
	target string
	ctx    context.Context

	mu     sync.Mutex
	faults Faults
	rnd    *rand.Rand
	left   int64 // until the next cut; negative: none
	cuts   int
	sent   [2]int64
	conns  map[net.Conn]bool
	wg     sync.WaitGroup
}

// Directions.
const (
	ToServer = 0
	ToClient = 1
)

// Start starts a proxy to an address; the test's cleanup ends it.
func Start(t testing.TB, target string, f Faults) *Proxy {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	p := &Proxy{ln: ln, target: target, ctx: ctx, conns: map[net.Conn]bool{}}
	p.Set(f)
	p.wg.Go(p.accept)
	t.Cleanup(func() {
		cancel()
		if err := ln.Close(); err != nil {
			t.Error(err)
		}
		p.Cut()
		p.wg.Wait()
	})
	return p
}

// URL is where the proxy listens.
func (p *Proxy) URL() string { return "http://" + p.ln.Addr().String() }

// Set changes the faults.
func (p *Proxy) Set(f Faults) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.faults, p.rnd = f, rand.New(rand.NewPCG(f.Seed, 1))
	p.left = p.nextCut()
}

// Target sends new connections to another address.
func (p *Proxy) Target(address string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.target = address
}

func (p *Proxy) nextCut() int64 {
	if p.faults.CutAfter != nil {
		if n := p.faults.CutAfter(p.rnd); n > 0 {
			return n
		}
	}
	return -1
}

// Sent gives the bytes that came in for a direction, and how often was cut.
func (p *Proxy) Sent(way int) (bytes int64, cuts int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.sent[way], p.cuts
}

func (p *Proxy) accept() {
	for {
		in, err := p.ln.Accept()
		if err != nil {
			return
		}
		p.mu.Lock()
		target := p.target
		p.mu.Unlock()
		out, err := (&net.Dialer{}).DialContext(p.ctx, "tcp", target)
		if err != nil {
			_ = in.Close()
			continue
		}
		p.mu.Lock()
		p.conns[in], p.conns[out] = true, true
		p.mu.Unlock()
		p.wg.Go(func() { p.pump(ToServer, out, in) })
		p.wg.Go(func() { p.pump(ToClient, in, out) })
	}
}

// verdict is what happens to one piece.
type verdict struct {
	pass  int
	cut   bool
	half  bool
	delay time.Duration
}

func (p *Proxy) judge(way int, b []byte) verdict {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.sent[way] += int64(len(b))
	v := verdict{pass: len(b), delay: p.faults.Latency}
	if p.faults.Jitter > 0 {
		v.delay += time.Duration(p.rnd.Int64N(int64(p.faults.Jitter)))
	}
	if p.faults.Corrupt > 0 {
		for i := range b {
			if p.rnd.Float64() < p.faults.Corrupt {
				b[i] ^= 1 << p.rnd.IntN(8)
			}
		}
	}
	if p.left < 0 {
		return v
	}
	v.pass = int(min(int64(len(b)), p.left))
	if p.left -= int64(v.pass); p.left > 0 {
		return v
	}
	p.cuts++
	p.left = p.nextCut()
	v.cut, v.half = true, p.faults.HalfClose && p.cuts%2 == 0
	return v
}

// piece is what was read at once, and what is to happen to it when it is due.
type piece struct {
	verdict
	bytes []byte
	due   time.Time
	err   error // of the reader, after the bytes
}

// underWay bounds how many pieces a direction holds back at once.
const underWay = 256

// depth is how many pieces are read ahead: none where nothing is held back, so
// that a cut costs no more than it would on a wire.
func (p *Proxy) depth() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.faults.Latency+p.faults.Jitter == 0 {
		return 0
	}
	return underWay
}

// pump carries one direction. Pieces wait out their delay side by side, as they
// would on a long line, and never overtake each other.
func (p *Proxy) pump(way int, dst, src net.Conn) {
	line, gone := make(chan piece, p.depth()), make(chan struct{})
	defer close(gone)
	p.wg.Go(func() {
		defer close(line)
		for {
			buf := make([]byte, 16<<10)
			n, err := src.Read(buf)
			v := p.judge(way, buf[:n])
			select {
			case line <- piece{verdict: v, bytes: buf[:v.pass], due: time.Now().Add(v.delay), err: err}:
			case <-gone:
				return
			}
			if err != nil || v.cut && !v.half {
				return
			}
		}
	})
	for c := range line {
		if wait := time.Until(c.due); wait > 0 && len(c.bytes) > 0 {
			select {
			case <-time.After(wait):
			case <-p.ctx.Done():
			}
		}
		if len(c.bytes) > 0 {
			if _, err := dst.Write(c.bytes); err != nil {
				c.cut, c.half = true, false
			}
		}
		switch {
		case c.cut && c.half:
			for range line { // swallowed: nobody is told
			}
			return
		case c.cut:
			p.Cut()
			return
		case c.err != nil:
			if d, ok := dst.(*net.TCPConn); ok {
				_ = d.CloseWrite()
			}
			return
		}
	}
}

// Cut ends all connections.
func (p *Proxy) Cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for conn := range p.conns {
		_ = conn.Close()
	}
	clear(p.conns)
}

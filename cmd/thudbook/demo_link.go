package main

import (
	"context"
	"io"
	"net"
	"sync"
)

// link is a TCP forwarder that stands for the cable between a rig and the
// server: while it is down, connections are refused and open ones are cut.
type link struct {
	listener net.Listener
	target   string
	mu       sync.Mutex
	up       bool
	open     map[net.Conn]struct{}
	done     sync.WaitGroup
}

// newLink listens on a free port of the loopback and forwards to target.
func newLink(target string) (*link, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	k := &link{listener: l, target: target, up: true, open: map[net.Conn]struct{}{}}
	k.done.Go(k.accept)
	return k, nil
}

// addr is where the rig's side connects to.
func (k *link) addr() string { return k.listener.Addr().String() }

// set plugs the cable in or pulls it.
func (k *link) set(up bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.up = up
	if !up {
		for c := range k.open {
			_ = c.Close()
		}
	}
}

// close ends the forwarder and waits for its connections.
func (k *link) close() {
	k.set(false)
	_ = k.listener.Close()
	k.done.Wait()
}

func (k *link) accept() {
	for {
		c, err := k.listener.Accept()
		if err != nil {
			return
		}
		if !k.hold(c) {
			_ = c.Close()
			continue
		}
		k.done.Go(func() {
			defer k.release(c)
			k.forward(c)
		})
	}
}

// hold remembers a connection, unless the cable is pulled.
func (k *link) hold(c net.Conn) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.up {
		k.open[c] = struct{}{}
	}
	return k.up
}

func (k *link) release(c net.Conn) {
	k.mu.Lock()
	defer k.mu.Unlock()
	delete(k.open, c)
	_ = c.Close()
}

func (k *link) forward(near net.Conn) {
	far, err := (&net.Dialer{}).DialContext(context.Background(), "tcp", k.target)
	if err != nil {
		return
	}
	if !k.hold(far) {
		_ = far.Close()
		return
	}
	defer k.release(far)
	var both sync.WaitGroup
	both.Go(func() { _, _ = io.Copy(far, near); closeWrite(far) })
	both.Go(func() { _, _ = io.Copy(near, far); closeWrite(near) })
	both.Wait()
}

func closeWrite(c net.Conn) {
	if t, ok := c.(*net.TCPConn); ok {
		_ = t.CloseWrite()
	}
}

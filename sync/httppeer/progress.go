package httppeer

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"time"
)

// There is no limit on how long a transfer takes, only on how long nothing
// moves: a slow link is not an error, a dead one is.

// progressBody gives every read of a request's body a deadline of its own.
type progressBody struct {
	io.ReadCloser
	rc *http.ResponseController
	d  time.Duration

	since time.Time // of the minute that is counted
	bytes int
}

// A body that brings less than leastBytes in slowestMinute holds a place that
// others need: it is given up, as if it were silent.
const (
	slowestMinute = time.Minute
	leastBytes    = 16 << 10
)

func (b *progressBody) Read(p []byte) (int, error) {
	now := time.Now()
	switch {
	case b.since.IsZero():
		b.since = now
	case now.Sub(b.since) > slowestMinute:
		if b.bytes < leastBytes {
			return 0, os.ErrDeadlineExceeded
		}
		b.since, b.bytes = now, 0
	}
	if err := b.rc.SetReadDeadline(now.Add(b.d)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return 0, err
	}
	n, err := b.ReadCloser.Read(p)
	b.bytes += n
	return n, err
}

// progressWriter does the same for writes of the answer, and knows whether the
// answer began.
type progressWriter struct {
	http.ResponseWriter
	rc    *http.ResponseController
	d     time.Duration
	began bool
}

func (w *progressWriter) WriteHeader(status int) {
	w.began = true
	w.ResponseWriter.WriteHeader(status)
}

func (w *progressWriter) Write(p []byte) (int, error) {
	w.began = true
	if err := w.rc.SetWriteDeadline(time.Now().Add(w.d)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return 0, err
	}
	return w.ResponseWriter.Write(p)
}

// Unwrap lets http.ResponseController find the connection.
func (w *progressWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// progressConn fails when nothing has moved in either direction for d.
type progressConn struct {
	net.Conn
	d time.Duration
}

func (c *progressConn) Read(p []byte) (int, error) {
	if err := c.SetReadDeadline(time.Now().Add(c.d)); err != nil {
		return 0, err
	}
	return c.Conn.Read(p)
}

// Write also moves the deadline of a read that waits for the answer: while
// bytes go out, the other side need not speak.
func (c *progressConn) Write(p []byte) (int, error) {
	total := 0
	for len(p) > 0 {
		part := p[:min(len(p), 64<<10)]
		if err := c.SetDeadline(time.Now().Add(c.d)); err != nil {
			return total, err
		}
		n, err := c.Conn.Write(part)
		total += n
		if err != nil {
			return total, err
		}
		p = p[n:]
	}
	return total, c.SetReadDeadline(time.Now().Add(c.d))
}

type dialFunc func(ctx context.Context, network, address string) (net.Conn, error)

func progressDial(dial dialFunc, d time.Duration) dialFunc {
	return func(ctx context.Context, network, address string) (net.Conn, error) {
		c, err := dial(ctx, network, address)
		if err != nil {
			return nil, err
		}
		return &progressConn{Conn: c, d: d}, nil
	}
}

package httpkit

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"
)

// Limits of a connection, not of a request.
const (
	headerTimeout = 10 * time.Second
	idleTimeout   = 2 * time.Minute
	headerBytes   = 64 << 10
)

// Serve answers on l until ctx ends, then takes no new request, waits up to
// grace for those under way and returns. A listener made by tls.NewListener
// serves TLS. The error is nil after an orderly end; when requests had to be
// cut off it says so. The listener is closed in every case.
func Serve(ctx context.Context, l net.Listener, h http.Handler, grace time.Duration) error {
	s := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: headerTimeout,
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    headerBytes,
		ErrorLog:          slog.NewLogLogger(slog.DiscardHandler, slog.LevelDebug),
	}
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(l) }() // ends by Shutdown or Close below

	select {
	case err := <-ended: // the listener failed
		return errors.Join(fmt.Errorf("serve %s: %w", l.Addr(), err), s.Close())
	case <-ctx.Done():
	}
	limit, cancel := context.WithTimeout(context.WithoutCancel(ctx), grace)
	defer cancel()
	err := s.Shutdown(limit)
	if err != nil {
		err = errors.Join(fmt.Errorf("requests still under way after %v were cut off: %w", grace, err), s.Close())
	}
	if e := <-ended; !errors.Is(e, http.ErrServerClosed) {
		err = errors.Join(err, e)
	}
	return err
}

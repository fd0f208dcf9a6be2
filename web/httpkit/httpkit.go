// Package httpkit is what agent and server share in front of their handlers:
// one place that turns an error into an answer, limits, security headers, the
// check of Host and origin, the request log, health, and a Serve that waits.
package httpkit

import (
	"context"
	"log/slog"
	"net/http"
	"net/netip"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/web"
	"thudbook/web/page"
)

// DefaultBodyLimit bounds a request body in bytes where Options say nothing else.
const DefaultBodyLimit = 1 << 20

// bodyStall is how long a request body may stand still before it is given up.
const bodyStall = 30 * time.Second

// Options say how New builds the handler. Log is required; the zero value of
// the rest is useful.
type Options struct {
	Log *slog.Logger

	// Hosts are the names, without port, under which the program answers. An
	// IP address is always accepted, since an attack by DNS rebinding needs a
	// name. Empty: every name. An agent passes LoopbackHosts().
	Hosts []string

	// Proxies are in front and speak TLS: their word on whom they pass on is
	// believed, and plain HTTP is answered to them only. Empty: there is none.
	Proxies []netip.Prefix

	// BodyLimits are the largest bodies in bytes by method and route, as
	// "POST /api/v1/shots"; other routes take DefaultBodyLimit.
	BodyLimits map[string]int64

	// Frame gives the frame for error screens of this request; nil: a bare one.
	Frame func(echo.Context) page.Frame

	// Ready reports why the program cannot do its work, nil when it can.
	Ready func(context.Context) error

	// Observe is told of every finished request; route is the pattern.
	Observe func(method, route string, status int, took time.Duration)

	// Metrics serves /metrics; nil leaves the route out.
	Metrics http.Handler

	// MayReadMetrics says who gets /metrics; the others are told that there is
	// nothing. Nil: everybody.
	MayReadMetrics func(*http.Request) bool
}

// LoopbackHosts are the names of the machine itself.
func LoopbackHosts() []string { return []string{"localhost", "127.0.0.1", "::1"} }

// New returns an echo with the shared parts in place: add routes and serve it.
func New(o Options) *echo.Echo {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.IPExtractor = extractor(o.Proxies) // a forwarded address may be forged
	e.HTTPErrorHandler = errorHandler(o)
	origins := http.NewCrossOriginProtection()

	e.Pre(requestID)
	e.Use(
		logRequests(o),
		secureHeaders,
		recoverPanics(o.Log),
		onlyThroughProxy(o.Proxies),
		checkHost(o.Hosts),
		checkOrigin(origins),
		limitBodies(o.BodyLimits),
	)
	e.GET(web.Prefix+"*", echo.WrapHandler(web.Assets()))
	e.HEAD(web.Prefix+"*", echo.WrapHandler(web.Assets()))
	health(e, o.Ready)
	if o.Metrics != nil {
		e.GET("/metrics", func(c echo.Context) error {
			if o.MayReadMetrics != nil && !o.MayReadMetrics(c.Request()) {
				return echo.ErrNotFound
			}
			o.Metrics.ServeHTTP(c.Response(), c.Request())
			return nil
		})
	}
	return e
}

// Page answers with a screen and a status.
func Page(c echo.Context, status int, p page.Page) error {
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, echo.MIMETextHTMLCharsetUTF8)
	h.Set(echo.HeaderCacheControl, "no-store")
	w := &late{Response: c.Response(), status: status}
	return page.Render(w, p)
}

// late writes the status only when the first byte is there, so that a page
// that cannot be rendered still becomes an error screen.
type late struct {
	*echo.Response
	status int
}

func (l *late) Write(b []byte) (int, error) {
	if !l.Committed {
		l.WriteHeader(l.status)
	}
	return l.Response.Write(b)
}

// SeeOther sends the browser on after a POST.
func SeeOther(c echo.Context, path string) error { return c.Redirect(http.StatusSeeOther, path) }

func health(e *echo.Echo, ready func(context.Context) error) {
	e.GET("/healthz", func(c echo.Context) error { return c.String(http.StatusOK, "ok\n") })
	e.GET("/readyz", func(c echo.Context) error {
		if ready != nil {
			if err := ready(c.Request().Context()); err != nil {
				text := "not ready\n"
				if p, ok := problem.As(err); ok {
					text = "not ready: " + p.What + "\n"
				}
				return c.String(http.StatusServiceUnavailable, text)
			}
		}
		return c.String(http.StatusOK, "ready\n")
	})
}

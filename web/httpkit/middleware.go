package httpkit

import (
	"crypto/rand"
	"io"
	"log/slog"
	"net"
	"net/http"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
)

// contentPolicy lets a page use its own scripts, styles and images, and nothing
// else; data: is for images the script makes.
const contentPolicy = "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; " +
	"frame-ancestors 'none'; base-uri 'none'; form-action 'self'"

func stack() string { return string(debug.Stack()) }

// requestID numbers the request ourselves; a number from outside is not taken
// over, as it would let a caller forge lines of the log.
func requestID(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		c.Response().Header().Set(echo.HeaderXRequestID, rand.Text()[:12])
		return next(c)
	}
}

// logRequests writes one line a request. Queries and bodies are left out. The
// error handler runs here, so that the line holds the status that was sent.
func logRequests(o Options) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			start := time.Now()
			if err := next(c); err != nil {
				c.Error(err)
			}
			r, w, took := c.Request(), c.Response(), time.Since(start)
			level := slog.LevelInfo
			switch {
			case quiet(r.URL.Path) && w.Status < 400:
				level = slog.LevelDebug
			case w.Status >= 500:
				level = slog.LevelError
			}
			o.Log.Log(r.Context(), level, "request", "method", r.Method, "path", logPath(c), "status", w.Status,
				"bytes", w.Size, "took", took, "remote", c.RealIP(), "request_id", w.Header().Get(echo.HeaderXRequestID))
			if o.Observe != nil {
				o.Observe(r.Method, c.Path(), w.Status, took)
			}
			return nil
		}
	}
}

// logPath is the path for the log: of one with a secret in it only the pattern.
func logPath(c echo.Context) string {
	if strings.Contains(c.Path(), ":code") {
		return c.Path()
	}
	return c.Request().URL.Path
}

func quiet(path string) bool {
	return path == "/healthz" || path == "/readyz" || path == "/metrics" || strings.HasPrefix(path, "/assets/")
}

func secureHeaders(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set(echo.HeaderContentSecurityPolicy, contentPolicy)
		h.Set(echo.HeaderXContentTypeOptions, "nosniff")
		h.Set(echo.HeaderXFrameOptions, "DENY")
		h.Set(echo.HeaderReferrerPolicy, "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		if c.Request().TLS != nil {
			h.Set(echo.HeaderStrictTransportSecurity, "max-age=31536000")
			h.Set("Cross-Origin-Opener-Policy", "same-origin")
		}
		return next(c)
	}
}

// checkHost refuses names that the program does not go by: a page of another
// site may have its own name point here (DNS rebinding), and would then be let
// in by the browser as if it were ours.
func checkHost(allowed []string) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			if len(allowed) == 0 || hostAllowed(c.Request().Host, allowed) {
				return next(c)
			}
			return echo.NewHTTPError(http.StatusMisdirectedRequest,
				"This program does not answer under that name. Use the address that it prints when it starts.")
		}
	}
}

func hostAllowed(hostport string, allowed []string) bool {
	host := hostport
	if h, _, err := net.SplitHostPort(hostport); err == nil {
		host = h
	}
	host = strings.TrimSuffix(strings.TrimPrefix(strings.TrimSuffix(strings.ToLower(host), "]"), "["), ".")
	if net.ParseIP(host) != nil {
		return true
	}
	return slices.ContainsFunc(allowed, func(a string) bool { return strings.EqualFold(a, host) })
}

// checkOrigin refuses what another site's page sends with the reader's cookie.
func checkOrigin(p *http.CrossOriginProtection) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			if err := p.Check(c.Request()); err != nil {
				return &problem.Error{Code: problem.Forbidden, What: "The request came from a page of another site.",
					Fix: "Open Thudbook itself and do it there.", Err: err}
			}
			return next(c)
		}
	}
}

// limitBodies bounds the size of a body, and the time it may stand still.
func limitBodies(limits map[string]int64) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			r := c.Request()
			if r.Body == nil || r.Body == http.NoBody {
				return next(c)
			}
			limit, ok := limits[r.Method+" "+c.Path()]
			if !ok {
				limit = DefaultBodyLimit
			}
			if r.ContentLength > limit {
				return &http.MaxBytesError{Limit: limit}
			}
			body := &movingBody{ReadCloser: r.Body, control: http.NewResponseController(c.Response())}
			r.Body = http.MaxBytesReader(c.Response().Writer, body, limit)
			return next(c)
		}
	}
}

// movingBody gives up when no byte came for bodyStall; a slow body that moves
// is taken.
type movingBody struct {
	io.ReadCloser
	control *http.ResponseController
}

func (b *movingBody) Read(p []byte) (int, error) {
	// A connection without deadlines (a test's recorder) reads on without them.
	_ = b.control.SetReadDeadline(time.Now().Add(bodyStall))
	n, err := b.ReadCloser.Read(p)
	if err != nil {
		_ = b.control.SetReadDeadline(time.Time{})
	}
	return n, err
}

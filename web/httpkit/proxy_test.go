package httpkit_test

import (
	"net/http"
	"net/http/httptest"
	"net/netip"
	"testing"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/web/httpkit"
)

func TestParseProxies(t *testing.T) {
	got, err := httpkit.ParseProxies([]string{"192.0.2.7", "192.0.2.77/24", "::1", "::ffff:192.0.2.9"})
	if err != nil || len(got) != 4 || got[1] != netip.MustParsePrefix("192.0.2.0/24") || got[3] != netip.MustParsePrefix("192.0.2.9/32") {
		t.Errorf("%v, %v", got, err)
	}
	for _, bad := range []string{"", "proxy.example", "0.0.0.0/0", "::/0", "192.0.2.7/33"} {
		if _, err := httpkit.ParseProxies([]string{bad}); problem.Of(err) != problem.Invalid {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// Behind a proxy plain HTTP is for the proxy alone, which must say that it was
// reached by HTTPS; whom it passes on is believed of it and of nobody else.
func TestBehindAProxy(t *testing.T) {
	proxies, err := httpkit.ParseProxies([]string{"192.0.2.7", "198.51.100.0/24"})
	if err != nil {
		t.Fatal(err)
	}
	e := httpkit.New(httpkit.Options{Proxies: proxies})
	var real, remote string
	e.GET("/who", func(c echo.Context) error {
		real, remote = c.RealIP(), c.Request().RemoteAddr
		return c.NoContent(http.StatusNoContent)
	})
	for what, c := range map[string]struct {
		from, scheme, forwarded string
		status                  int
		real                    string
	}{
		"through it":                  {"192.0.2.7:4000", "https", "203.0.113.5", 204, "203.0.113.5"},
		"a forged one before it":      {"192.0.2.7:4000", "https", "127.0.0.1, 203.0.113.5", 204, "203.0.113.5"},
		"through two":                 {"192.0.2.7:4000", "https", "203.0.113.5, 198.51.100.9", 204, "203.0.113.5"},
		"it names nobody":             {"192.0.2.7:4000", "https", "", 204, "192.0.2.7"},
		"reached by http":             {"192.0.2.7:4000", "http", "203.0.113.5", 403, ""},
		"it says nothing":             {"192.0.2.7:4000", "", "203.0.113.5", 403, ""},
		"past it":                     {"203.0.113.5:4000", "https", "192.0.2.7", 403, ""},
		"past it from the same net":   {"192.0.2.8:4000", "https", "203.0.113.5", 403, ""},
		"this machine":                {"127.0.0.1:4000", "", "", 204, "127.0.0.1"},
		"this machine, passed on":     {"127.0.0.1:4000", "https", "203.0.113.5", 403, ""},
		"this machine, forged origin": {"127.0.0.1:4000", "", "203.0.113.5", 204, "127.0.0.1"},
	} {
		real, remote = "", ""
		r := httptest.NewRequest(http.MethodGet, "/who", nil)
		r.RemoteAddr = c.from
		if c.scheme != "" {
			r.Header.Set("X-Forwarded-Proto", c.scheme)
		}
		if c.forwarded != "" {
			r.Header.Set("X-Forwarded-For", c.forwarded)
		}
		w := httptest.NewRecorder()
		e.ServeHTTP(w, r)
		if w.Code != c.status || real != c.real {
			t.Errorf("%s: %d, from %q; want %d, %q", what, w.Code, real, c.status, c.real)
		}
		if hsts := w.Header().Get("Strict-Transport-Security") != ""; hsts != (c.scheme == "https" && c.status == 204) {
			t.Errorf("%s: HTTPS demanded: %t", what, hsts)
		}
		if c.real == "203.0.113.5" && remote != "203.0.113.5:0" {
			t.Errorf("%s: limits would count %s", what, remote)
		}
	}
}

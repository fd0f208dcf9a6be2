package server_test

import (
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"

	"thudbook/server"
)

// TestMetricsAreForThisMachine asks the running server over loopback.
func TestMetricsAreForThisMachine(t *testing.T) {
	t.Parallel()
	w := start(t)
	if a := w.stranger().get("/metrics").want(t, 200, "from this machine"); !strings.Contains(a.body, "thudbook_shots") {
		t.Errorf("no figures in %q", a.body)
	}
	for _, header := range []string{"X-Forwarded-For", "Forwarded", "X-Real-Ip"} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, w.url+"/metrics", nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set(header, "for=127.0.0.1")
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if res.StatusCode != http.StatusNotFound {
			t.Errorf("with %s: %d, want 404", header, res.StatusCode)
		}
	}
}

func TestMayReadMetrics(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		remote, header string
		open, want     bool
	}{
		{"127.0.0.1:5000", "", false, true},
		{"[::1]:5000", "", false, true},
		{"[::ffff:127.0.0.1]:5000", "", false, true},
		{"192.0.2.7:5000", "", false, false},
		{"[2001:db8::7]:5000", "", false, false},
		{"nonsense", "", false, false},
		{"127.0.0.1:5000", "X-Forwarded-For", false, false},
		{"127.0.0.1:5000", "Forwarded", false, false},
		{"192.0.2.7:5000", "", true, true},
		{"127.0.0.1:5000", "X-Forwarded-For", true, true},
	} {
		r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
		r.RemoteAddr = c.remote
		if c.header != "" {
			r.Header.Set(c.header, "for=192.0.2.7")
		}
		if got := server.MayReadMetrics(server.Options{OpenMetrics: c.open, Proxies: []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")}}, r); got != c.want {
			t.Errorf("%+v: %t", c, got)
		}
	}
}

package server_test

import (
	"encoding/json"
	"log/slog"
	"strings"
	"testing"

	"thudbook/server"
)

// TestDescription compares the description of the API with the routes.
func TestDescription(t *testing.T) {
	t.Parallel()
	w := start(t)
	d := into[struct {
		OpenAPI string `json:"openapi"`
		Paths   map[string]map[string]json.RawMessage
	}](t, w.stranger().get("/api/openapi.json").want(t, 200, "the description"))
	described := map[string]bool{}
	for path, methods := range d.Paths {
		for m, raw := range methods {
			if m == "parameters" {
				continue
			}
			var op struct {
				Summary   string
				Responses map[string]json.RawMessage
			}
			if err := json.Unmarshal(raw, &op); err != nil || op.Summary == "" || len(op.Responses) == 0 {
				t.Errorf("%s %s has no summary or no responses (%v)", m, path, err)
			}
			described[strings.ToUpper(m)+" "+path] = true
		}
	}
	routes, err := server.Routes(t.Context(), server.Options{Data: t.TempDir(), Listen: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, r := range routes {
		method, path, _ := strings.Cut(r, " ")
		if method == "echo_route_not_found" || !strings.HasPrefix(path, "/api/") && path != "/healthz" && path != "/readyz" && path != "/metrics" && path != "/metrics/items" && path != "/calendar/:file" && path != "/calendar/:token/bookings.ics" {
			continue
		}
		parts := strings.Split(path, "/")
		for i, p := range parts {
			if name, ok := strings.CutPrefix(p, ":"); ok {
				parts[i] = "{" + name + "}"
			}
		}
		r = method + " " + strings.Join(parts, "/")
		if n++; !described[r] {
			t.Errorf("%s is not described", r)
		}
		delete(described, r)
	}
	for r := range described {
		t.Errorf("%s is described, but is no route", r)
	}
	if n < 20 || !strings.HasPrefix(d.OpenAPI, "3.") {
		t.Errorf("%d routes compared, version %q", n, d.OpenAPI)
	}
}

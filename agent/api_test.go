package agent_test

import (
	"encoding/json"
	"log/slog"
	"math"
	"net/http"
	"strings"
	"sync"
	"testing"

	"github.com/labstack/echo/v4"

	"thudbook/agent"
)

func TestPost(t *testing.T) {
	r := start(t)
	text := csv(100)
	meta := `{"specimen":"H-1","location":"front","target_speed_m_s":5.0,"kind":"shot"}`
	a := r.post(part{"meta", "", meta}, part{"map", "m.toml", mapText}, part{"file", `C:\data\shot 1.csv`, text})
	if a.status != http.StatusCreated {
		t.Fatalf("POST = %d\n%s", a.status, a.body)
	}
	id := a.json(t)["id"].(string)
	if got := a.header.Get("Location"); got != "/api/v1/shots/"+id {
		t.Errorf("Location %q", got)
	}
	shot := r.get("/api/v1/shots/" + id).json(t)
	results := shot["results"].(map[string]any)
	// A half sine of 100 g over 10 ms passes CFC 1000 with less than 1 % change; 25 mm in 5 ms are 5 m/s.
	if peak := results["peak_linear_acceleration"].(map[string]any)["value"].(float64); math.Abs(peak-100) > 1 {
		t.Errorf("peak = %g g, want 100 within 1", peak)
	}
	if v := results["impact_speed"].(map[string]any)["value"].(float64); math.Abs(v-5) > 0.06 {
		t.Errorf("speed = %g m/s, want 5 within one sample", v)
	}
	if shot["file"] != "shot 1.csv" || shot["to_assign"] != false || shot["meta"].(map[string]any)["specimen"] != "H-1" || shot["error"] != nil {
		t.Errorf("shot = %v", shot)
	}
	src := r.get("/api/v1/shots/" + id + "/source")
	if src.body != text || !strings.HasPrefix(src.header.Get("Content-Disposition"), `attachment; filename="shot 1.csv"`) {
		t.Errorf("source: %d bytes, %q", len(src.body), src.header.Get("Content-Disposition"))
	}
	if tr := r.get("/api/v1/shots/" + id + "/traces.bin"); tr.status != 200 || len(tr.body) < 1000 {
		t.Errorf("traces: %d, %d bytes", tr.status, len(tr.body))
	}

	again := r.post(part{"file", "shot 1.csv", text})
	if again.status != http.StatusOK || again.json(t)["id"] != id {
		t.Errorf("the same bytes again = %d %s", again.status, again.body)
	}
	other := r.post(part{"file", "another name.csv", text})
	if other.status != http.StatusOK || other.json(t)["id"] != id || other.json(t)["seen_again"] != true {
		t.Errorf("under another name = %d %s", other.status, other.body)
	}
	if n := len(r.get("/api/v1/shots").json(t)["shots"].([]any)); n != 1 {
		t.Errorf("%d shots", n)
	}
}

func TestPostThatIsRefused(t *testing.T) {
	r := start(t, func(o *agent.Options) { o.Limit = 200_000 })
	garbage := r.post(part{"file", "notes.txt", "dear all\nno numbers here\n"})
	if garbage.status != http.StatusUnprocessableEntity {
		t.Fatalf("POST of no table = %d %s", garbage.status, garbage.body)
	}
	e := garbage.json(t)["error"].(map[string]any)
	if e["code"] == "" || e["what"] == "" || e["fix"] == "" {
		t.Errorf("error = %v", e)
	}
	files := r.get("/api/v1/quarantine").json(t)["files"].([]any)
	if len(files) != 1 {
		t.Fatalf("quarantine = %v", files)
	}
	id := files[0].(map[string]any)["id"].(string)
	if got := r.get("/quarantine/" + id + "/file"); got.body != "dear all\nno numbers here\n" || !strings.HasPrefix(got.header.Get("Content-Disposition"), "attachment") {
		t.Errorf("the kept bytes = %q", got.body)
	}
	if a := r.post(part{"file", "empty.csv", ""}); a.status != http.StatusUnprocessableEntity || a.json(t)["error"].(map[string]any)["code"] != "empty_file" {
		t.Errorf("empty file = %d %s", a.status, a.body)
	}
	for name, parts := range map[string][]part{
		"no file":      {{"meta", "", "{}"}},
		"two files":    {{"file", "a.csv", "x"}, {"file", "b.csv", "y"}},
		"unknown part": {{"file", "a.csv", csv(3)}, {"comment", "", "hello"}},
		"broken map":   {{"file", "a.csv", csv(4)}, {"map", "m.toml", "name = "}},
	} {
		if a := r.post(parts...); a.status != http.StatusUnprocessableEntity || a.json(t)["error"].(map[string]any)["fix"] == "" {
			t.Errorf("%s = %d %s", name, a.status, a.body)
		}
	}
	if a := r.post(part{"file", "big.csv", strings.Repeat("1,2,3\n", 50_000)}); a.status != http.StatusRequestEntityTooLarge {
		t.Errorf("over the limit = %d %s", a.status, a.body)
	}
	req, err := http.NewRequest(http.MethodPost, r.base+"/api/v1/shots", strings.NewReader("plain"))
	if err != nil {
		t.Fatal(err)
	}
	if a := r.do(req); a.status != http.StatusUnprocessableEntity {
		t.Errorf("no multipart = %d %s", a.status, a.body)
	}
	if n := len(r.get("/api/v1/shots").json(t)["shots"].([]any)); n != 0 {
		t.Errorf("%d shots", n)
	}
}

func TestPostPartlyReadable(t *testing.T) {
	r := start(t)
	text := strings.Replace(csv(50), "0.02500,50.00000,0,0", "0.02500,50.00000,cable,0", 1)
	a := r.post(part{"file", "a.csv", text}, part{"map", "m.toml", mapText})
	if a.status != http.StatusCreated {
		t.Fatalf("POST = %d %s", a.status, a.body)
	}
	shot := r.get("/api/v1/shots/" + a.json(t)["id"].(string)).json(t)
	e := shot["error"].(map[string]any)
	// Row of t = 0.025 s: header, then 500 rows before it.
	if e["line"] != 502.0 || e["column"] != 3.0 || e["channel"] != "ay" {
		t.Errorf("error = %v", e)
	}
	found := false
	for _, f := range shot["flags"].([]any) {
		found = found || f.(map[string]any)["code"] == "channel_unreadable"
	}
	if !found || shot["results"].(map[string]any)["impact_speed"] == nil {
		t.Errorf("flags = %v, results = %v", shot["flags"], shot["results"])
	}
}

func TestConcurrentPostsOfTheSameBytes(t *testing.T) {
	r := start(t)
	text := csv(77)
	var wg sync.WaitGroup
	var mu sync.Mutex
	ids, created := map[any]int{}, 0
	for range 6 {
		wg.Go(func() {
			a := r.post(part{"file", "same.csv", text})
			mu.Lock()
			defer mu.Unlock()
			ids[a.json(t)["id"]]++
			if a.status == http.StatusCreated {
				created++
			}
		})
	}
	wg.Wait()
	if len(ids) != 1 || created != 1 {
		t.Errorf("ids %v, %d times 201; want one shot", ids, created)
	}
}

func TestFullDiskAnswers503(t *testing.T) {
	r := start(t, func(o *agent.Options) { o.Reserve = 1 << 60 })
	a := r.post(part{"file", "a.csv", csv(5)})
	if a.status != http.StatusServiceUnavailable || a.header.Get("Retry-After") == "" || !strings.Contains(a.body, "nearly full") {
		t.Errorf("POST = %d %s", a.status, a.body)
	}
	if a := r.get("/readyz"); a.status != http.StatusServiceUnavailable || !strings.Contains(a.body, "nearly full") {
		t.Errorf("readyz = %d %s", a.status, a.body)
	}
	r.page("/overview", "nearly full", "intake stopped")
}

func TestPaging(t *testing.T) {
	r := start(t)
	for i := range 7 {
		if a := r.post(part{"file", "a.csv", csv(float64(10 + i))}); a.status != http.StatusCreated {
			t.Fatalf("POST = %d %s", a.status, a.body)
		}
	}
	seen := map[any]bool{}
	path := "/api/v1/shots?limit=3"
	for pages := 0; ; pages++ {
		body := r.get(path).json(t)
		for _, s := range body["shots"].([]any) {
			seen[s.(map[string]any)["id"]] = true
		}
		next, more := body["next"].(string)
		if !more {
			break
		}
		if pages > 5 {
			t.Fatal("the pages do not end")
		}
		path = "/api/v1/shots?limit=3&before=" + next
	}
	if len(seen) != 7 {
		t.Errorf("%d shots over all pages, want 7", len(seen))
	}
	for _, bad := range []string{"?limit=0", "?limit=x", "?before=%00"} {
		if a := r.get("/api/v1/shots" + bad); a.status != http.StatusUnprocessableEntity {
			t.Errorf("%s = %d", bad, a.status)
		}
	}
}

func TestMetaByAPI(t *testing.T) {
	r := start(t)
	id := r.post(part{"file", "a.csv", csv(66)}).json(t)["id"].(string)
	if r.get("/api/v1/shots/" + id).json(t)["to_assign"] != true {
		t.Error("a shot without meta does not wait")
	}
	send := func(body string) answer {
		req, err := http.NewRequest(http.MethodPost, r.base+"/api/v1/shots/"+id+"/meta", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", "application/json")
		return r.do(req)
	}
	if a := send(`{"specimen":"H-8","location":"side","target_speed_m_s":7.4}`); a.status != 200 || a.json(t)["to_assign"] != false {
		t.Errorf("meta = %d %s", a.status, a.body)
	}
	for _, bad := range []string{`{"target_speed_m_s":-1}`, `{"kind":"bounce"}`, `no json`, `{"target_speed_m_s":"fast"}`} {
		if a := send(bad); a.status != http.StatusUnprocessableEntity {
			t.Errorf("%s = %d %s", bad, a.status, a.body)
		}
	}
}

// TestOpenAPI compares the description with what the agent really answers.
func TestOpenAPI(t *testing.T) {
	r := start(t)
	var doc struct {
		OpenAPI string                                `json:"openapi"`
		Paths   map[string]map[string]json.RawMessage `json:"paths"`
	}
	if err := json.Unmarshal([]byte(r.get("/api/openapi.json").body), &doc); err != nil {
		t.Fatal(err)
	}
	if len(doc.Paths) < 10 || !strings.HasPrefix(doc.OpenAPI, "3.") {
		t.Fatalf("description of %d paths", len(doc.Paths))
	}
	for path, methods := range doc.Paths {
		a := r.get(strings.ReplaceAll(path, "{id}", "00000000-0000-4000-8000-000000000000"))
		switch {
		case methods["get"] == nil:
			if a.status != http.StatusMethodNotAllowed {
				t.Errorf("GET %s = %d, want 405: it takes a POST", path, a.status)
			}
		case strings.Contains(path, "{name}"):
			if a.status != http.StatusNotFound || !strings.Contains(a.body, "specimen of this name") {
				t.Errorf("GET %s = %d %s, want the specimen to be missing", path, a.status, a.body)
			}
		case strings.Contains(path, "{id}"):
			if a.status != http.StatusNotFound || !strings.Contains(a.body, "no shot of this id") {
				t.Errorf("GET %s = %d %s, want the shot to be missing", path, a.status, a.body)
			}
		case a.status != http.StatusOK:
			t.Errorf("GET %s = %d", path, a.status)
		}
	}
}

// TestOpenAPIDescribesEveryRoute compares the description with the routes.
func TestOpenAPIDescribesEveryRoute(t *testing.T) {
	r := start(t)
	var doc struct {
		Paths map[string]map[string]json.RawMessage `json:"paths"`
	}
	if err := json.Unmarshal([]byte(r.get("/api/openapi.json").body), &doc); err != nil {
		t.Fatal(err)
	}
	routes, err := agent.Routes(t.Context(), agent.Options{Data: t.TempDir(), Listen: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, route := range routes {
		method, path, _ := strings.Cut(route, " ")
		if !strings.HasPrefix(path, "/api/") && path != "/healthz" && path != "/readyz" && path != "/metrics" || method == echo.RouteNotFound {
			continue
		}
		path = strings.NewReplacer(":id", "{id}", ":name", "{name}").Replace(path)
		if n++; doc.Paths[path][strings.ToLower(method)] == nil {
			t.Errorf("%s %s is not described", method, path)
		}
	}
	if n < 10 {
		t.Errorf("only %d routes were compared", n)
	}
}

func TestOtherNamesAndOriginsAreRefused(t *testing.T) {
	r := start(t)
	req, err := http.NewRequest(http.MethodGet, r.base+"/", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Host = "rebound.example"
	if a := r.do(req); a.status != http.StatusMisdirectedRequest {
		t.Errorf("foreign Host = %d", a.status)
	}
	req, err = http.NewRequest(http.MethodPost, r.base+"/api/v1/shots", strings.NewReader(""))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Sec-Fetch-Site", "cross-site")
	if a := r.do(req); a.status != http.StatusForbidden {
		t.Errorf("post from another site = %d", a.status)
	}
}

func TestMetrics(t *testing.T) {
	r := start(t)
	if a := r.post(part{"file", "a.csv", csv(21)}); a.status != http.StatusCreated {
		t.Fatalf("POST = %d", a.status)
	}
	r.post(part{"file", "b.csv", "nothing"})
	r.page("/metrics", "thudbook_shots_taken_in_total{kind=\"shot\"} 1\n", "thudbook_files_quarantined_total 1\n", "thudbook_quarantine_files 1\n",
		"thudbook_to_assign_shots 1\n", "thudbook_disk_free_bytes ", "thudbook_store_bytes ", "thudbook_store_writable 1\n", "thudbook_pending_records ", "thudbook_oldest_pending_seconds ")
}

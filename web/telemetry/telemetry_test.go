package telemetry_test

import (
	"errors"
	"io"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"thudbook/web/telemetry"
)

// What is served must be readable by Prometheus' own parser of the text form.
func TestServedNumbers(t *testing.T) {
	s := telemetry.New("agent", "1.2.3")
	s.Observe("GET", "/shots/:id", 200, 12*time.Millisecond)
	s.Observe("BREW", "", 404, time.Millisecond)
	s.ShotTaken("shot")
	s.ShotTaken("shot")
	s.ShotTaken("made up by a caller")
	s.Commit(4*time.Millisecond, nil)
	s.Commit(4*time.Millisecond, errors.New("disk full"))
	s.Watch(telemetry.Sources{
		PendingRecords: func() float64 { return 41 },
		OldestPending:  func() time.Duration { return 90 * time.Second },
		LastExchange:   func() time.Time { return time.Time{} },
	})
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	body, err := io.ReadAll(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	parser := expfmt.NewTextParser(model.UTF8Validation)
	families, err := parser.TextToMetricFamilies(strings.NewReader(string(body)))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"thudbook_build_info", "thudbook_http_request_duration_seconds", "thudbook_commit_duration_seconds", "go_goroutines"} {
		if families[name] == nil {
			t.Errorf("%s is not served", name)
		}
	}
	for _, line := range []string{
		`thudbook_shots_taken_in_total{kind="shot"} 2`, `thudbook_shots_taken_in_total{kind="other"} 1`, `thudbook_commit_errors_total 1`,
		`thudbook_commit_duration_seconds_count 2`, `thudbook_pending_records 41`, `thudbook_oldest_pending_seconds 90`, `thudbook_last_exchange_timestamp_seconds 0`,
		`thudbook_http_request_duration_seconds_count{method="GET",route="/shots/:id",status="200"} 1`,
		`thudbook_http_request_duration_seconds_count{method="other",route="none",status="404"} 1`,
	} {
		if !strings.Contains(string(body), line+"\n") {
			t.Errorf("not served: %s", line)
		}
	}
	if families["thudbook_quarantine_files"] != nil {
		t.Error("a source that was not given is served")
	}
}

// Two sets in one process do not disturb each other.
func TestNothingGlobal(t *testing.T) {
	a, b := telemetry.New("agent", "1"), telemetry.New("server", "1")
	a.ShotTaken("dry")
	w := httptest.NewRecorder()
	b.Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	if strings.Contains(w.Body.String(), "thudbook_shots_taken_in_total{") {
		t.Error("the count of one set shows in the other")
	}
}

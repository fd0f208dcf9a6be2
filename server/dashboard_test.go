package server_test

import (
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"thudbook/sync/lab"
)

// The dashboard of deploy/consoles, shown by a real Prometheus that reads this
// server as deploy/prometheus.yml says.
func TestDashboardInPrometheus(t *testing.T) {
	t.Parallel()
	w := start(t)
	s := w.open("Hazel", 3)
	base := "/api/v1/labs/" + s.id.String()
	now := time.Now()
	late := s.manager.make(base+"/items", lab.Item{Class: lab.ClassSensor, Serial: "AX-9", Name: "accelerometer <x>", CalibrationRequired: true})
	s.manager.make(base+"/calibrations", map[string]any{"item": late, "effective_at": now.AddDate(-2, 0, 0), "due_at": now.AddDate(-1, 0, 0), "certificate": "K-1", "sensitivity": 1.0, "sensitivity_unit": "mV/g", "expanded_uncertainty_percent": 1.5})
	token := regexp.MustCompile(`/calendar/([A-Z2-7]{40})\.ics`).FindStringSubmatch(s.operator.form("/health/feed", nil).want(t, 200, "a new link").body)
	if token == nil {
		t.Fatal("no link is shown")
	}

	consoles, err := filepath.Abs("../deploy/consoles")
	if err != nil {
		t.Fatal(err)
	}
	sample, err := os.ReadFile("../deploy/prometheus.yml")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	feed := filepath.Join(dir, "feed")
	rules, err := filepath.Abs("../deploy/alerts.yml")
	if err != nil {
		t.Fatal(err)
	}
	conf := strings.NewReplacer("127.0.0.1:8370", strings.TrimPrefix(w.url, "http://"), "/etc/prometheus/thudbook-feed", feed, "scrape_interval: 2m", "scrape_interval: 1s", "alerts.yml", rules).Replace(string(sample))
	conf = "global:\n  scrape_interval: 1s\n" + conf
	for path, text := range map[string]string{feed: token[1], filepath.Join(dir, "prometheus.yml"): conf} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	l, err := net.Listen("tcp", "127.0.0.1:0") // a free port, for a moment
	if err != nil {
		t.Fatal(err)
	}
	at := l.Addr().String()
	_ = l.Close()
	out, err := os.Create(filepath.Join(dir, "log"))
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("prometheus", "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+at, "--web.console.templates="+consoles)
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Start(); err != nil {
		t.Fatalf("prometheus (make test-tools installs it): %v", err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		_ = out.Close()
	})
	last := ""
	defer func() {
		if t.Failed() {
			log, _ := os.ReadFile(out.Name())
			t.Logf("the dashboard:\n%s\nprometheus says:\n%.3000s", last, log)
		}
	}()
	client := &http.Client{Timeout: 5 * time.Second}
	page := func() string {
		res, err := client.Get(fmt.Sprintf("http://%s/consoles/thudbook.html", at))
		if err != nil {
			return err.Error()
		}
		defer res.Body.Close()
		b := make([]byte, 1<<20)
		n := 0
		for n < len(b) {
			k, err := res.Body.Read(b[n:])
			if n += k; err != nil {
				break
			}
		}
		return fmt.Sprintf("%d %s", res.StatusCode, b[:n])
	}
	want := []string{"200 ", "● yes", ">4<", "Hazel lab", "accelerometer &lt;x&gt;", fmt.Sprintf(">-%.0f<", now.Sub(now.AddDate(-1, 0, 0)).Hours()/24), "no certification"}
	eventually(t, "the dashboard shows the server", func() bool {
		last = page()
		for _, x := range want {
			if !strings.Contains(last, x) {
				return false
			}
		}
		return true
	})
}

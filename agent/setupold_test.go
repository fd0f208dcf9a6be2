package agent_test

import (
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"thudbook/agent"
)

// What lies in the folder when a rig is set up is counted and asked about; unless
// somebody wants it, it becomes no shot, now or after a restart. What waits later, in
// the folder that is watched, is taken in whenever the set-up is saved again.
func TestOldFilesOfTheFolder(t *testing.T) {
	watch := t.TempDir()
	put := func(name string, peakG float64) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(watch, name), []byte(csv(peakG)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	put("old-1.csv", 60)
	put("old-2.csv", 61)
	r := start(t, func(o *agent.Options) { o.Watch, o.Rig = nil, "" })
	look := func() {
		r.saved("/setup/rig", url.Values{"rig": {"rig four"}, "folder": {watch}})
		r.saved("/setup/file", url.Values{"newest": {"yes"}})
	}
	look()
	m := url.Values{"c0_column": {"ax"}, "c0_measures": {"linear acceleration"}, "c0_axis": {"x"}, "c0_unit": {"g"}, "c0_cfc": {"1000"},
		"time_column": {"t"}, "time_unit": {"s"}, "baseline_ms": {"4"}, "rule": {"rows"}, "rows": {"1200"}, "do": {"check"}}
	r.page("/setup", "2 files in the folder already", `value="later" checked`)
	m.Set("old_files", "too")
	r.saved("/setup/map", m)
	r.page("/setup", `value="too" checked`) // the answer is kept
	m.Set("old_files", "later")
	m.Set("do", "save")
	r.saved("/setup/map", m)
	put("new-1.csv", 80)
	names := func(n int) string {
		var out []string
		for name := range r.shots(n) {
			out = append(out, name)
		}
		slices.Sort(out)
		return strings.Join(out, " ")
	}
	if got := names(1); got != "new-1.csv" {
		t.Errorf("taken in: %s", got)
	}
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	put("new-2.csv", 81)
	r.run()
	if got := names(2); got != "new-1.csv new-2.csv" {
		t.Errorf("after a restart: %s", got)
	}

	// A rule that the files do not keep, and then one that they do.
	look()
	m.Set("rows", "9000")
	m.Set("do", "check")
	r.saved("/setup/map", m)
	save := func() {
		m.Set("do", "save")
		r.saved("/setup/map", m)
		key := fields(t, r.page("/setup?ask=yes"), "/setup/map").Get("replaces")
		if key == "" {
			t.Fatal("nothing to agree with")
		}
		m.Set("replaces", key)
		r.saved("/setup/map", m)
		m.Del("replaces")
	}
	save()
	put("waits.csv", 82)
	r.until("the file that waits", func() bool { return strings.Contains(r.get("/overview").body, "waits.csv") })
	look()
	if strings.Contains(r.page("/setup"), "in the folder already") {
		t.Error("a file that waits in the folder that is watched is called an old one")
	}
	m.Set("rows", "1200")
	save()
	if got := names(3); got != "new-1.csv new-2.csv waits.csv" {
		t.Errorf("after the rule was mended: %s", got)
	}

	// An old file that is written anew is a new one.
	put("old-1.csv", 83)
	if got := names(4); !strings.Contains(got, "old-1.csv") || strings.Contains(got, "old-2.csv") {
		t.Errorf("after an old file was written anew: %s", got)
	}
}

package agent_test

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thudbook/agent"
	"thudbook/web/page"
)

// TestGuidedSetUp goes through the five steps, with no flag but the data
// folder; the folder is watched at once, and again after a restart.
func TestGuidedSetUp(t *testing.T) {
	watch := t.TempDir()
	r := start(t, func(o *agent.Options) { o.Watch, o.Rig = nil, "" })
	put := func(name string, peakG float64) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(watch, name), []byte(csv(peakG)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	put("shot-1.csv", 80)
	r.page("/", "No folder is watched")
	r.page("/setup", "Five steps", "Name of the rig")

	for folder, want := range map[string]string{filepath.Join(watch, "nowhere"): "is not there", filepath.Join(watch, "shot-1.csv"): "is no folder", "": "This is needed."} {
		if a := r.form("/setup/rig", url.Values{"rig": {"rig four"}, "folder": {folder}}); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, want) {
			t.Errorf("folder %q = %d", folder, a.status)
		}
	}
	r.saved("/setup/rig", url.Values{"rig": {"rig four"}, "folder": {watch}})
	r.page("/setup", "1 file of a shot in it", "shot-1.csv")
	r.saved("/setup/file", url.Values{"newest": {"yes"}})
	r.page("/setup", `name="c0_column" value="ax"`, "<svg", `name="time_column" value="t"`, `value="linear acceleration" selected`)

	m := url.Values{"c0_column": {"ax"}, "c0_measures": {"linear acceleration"}, "c0_axis": {"-x"}, "c0_unit": {"fortnight"}, "c0_cfc": {"1000"},
		"time_column": {"t"}, "time_unit": {"s"}, "baseline_ms": {"4"}, "rule": {"quiet"}, "quiet_ms": {"100"}, "do": {"save"}}
	if a := r.form("/setup/map", m); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "fortnight") {
		t.Errorf("a wrong unit = %d", a.status)
	}
	m.Set("c0_unit", "g")
	m.Set("c1_measures", "force") // and no column
	m.Set("c1_unit", "kN")
	if a := r.form("/setup/map", m); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "Type the head of the column") || !strings.Contains(a.body, `value="kN"`) {
		t.Errorf("a row without a column = %d\n%s", a.status, a.body)
	}
	m.Del("c1_measures")
	m.Set("c0_uncertainty", "2.5")
	m.Set("c0_unit", "g")
	m.Set("do", "check")
	r.saved("/setup/map", m)
	r.page("/setup", `value="-x" selected`, "<svg", `name="c0_uncertainty" value="2.5"`)
	if _, err := os.Stat(filepath.Join(r.opt.Data, "setup.json")); err == nil {
		t.Error("looking at the map saves it")
	}
	m.Set("do", "save")
	m.Set("old_files", "too")
	r.saved("/setup/map", m)
	r.page("/setup?done=yes", "The folder is watched", `href="/people"`)
	b, err := os.ReadFile(filepath.Join(r.opt.Data, "maps", "rig.toml"))
	if err != nil || !strings.Contains(string(b), `name = "rig four"`) || !strings.Contains(string(b), "expanded_uncertainty_percent = 2.5") {
		t.Errorf("the saved map, %v:\n%s", err, b)
	}
	r.page("/rig", "rig four", "rig.toml", "linear acceleration, −x, g")
	taken := func(n string) func() bool {
		return func() bool {
			return strings.Contains(r.get("/overview").body, "watching") && strings.Contains(r.get("/shots").body, n)
		}
	}
	r.until("the first shot, without a restart", taken("1 shot"))

	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	put("shot-2.csv", 81)
	r.run()
	r.until("the second shot, after a restart", taken("2 shots"))
	r.page("/setup", "3. One file of a shot", "2 files of shots in it", "Take this one", "4. The channel map", `The map <span class="id">rig four</span> is saved. To see or change it, take a file in step 3`)
	r.saved("/setup/file", url.Values{"newest": {"yes"}})
	r.page("/setup", "This is the map that is saved")
	r.page("/", "rig four")
}

// TestFirstScreenOfAFolderThatVanished: whoever is about to fire is told that
// the file would not be seen, and told no longer when the folder is back.
func TestFirstScreenOfAFolderThatVanished(t *testing.T) {
	r := start(t)
	watch := r.opt.Watch[0]
	if err := os.Rename(watch, watch+".away"); err != nil {
		t.Fatal(err)
	}
	says := func() bool { return strings.Contains(r.get("/").body, "Shots in "+watch+" are not taken in now") }
	r.until("the folder is missed on the first screen", says)
	if err := os.Rename(watch+".away", watch); err != nil {
		t.Fatal(err)
	}
	r.until("the folder is back", func() bool { return !says() })
}

// TestFlagsGoBeforeTheScreen: what stands on the command line wins.
func TestFlagsGoBeforeTheScreen(t *testing.T) {
	r := start(t)
	r.page("/setup", "command line", "What holds now", r.opt.Watch[0], "/people", "/rig")
	r.saved("/setup/rig", url.Values{"rig": {"other"}, "folder": {t.TempDir()}})
	r.page("/overview", "rig nine", r.opt.Watch[0])
}

// TestSetUpOfARelativeFolder: the folder is kept and shown as an absolute one, and
// files that come after it was chosen are seen.
func TestSetUpOfARelativeFolder(t *testing.T) {
	root := t.TempDir()
	t.Chdir(root)
	if err := os.Mkdir("acq", 0o755); err != nil {
		t.Fatal(err)
	}
	r := start(t, func(o *agent.Options) { o.Watch, o.Rig = nil, "" })
	r.saved("/setup/rig", url.Values{"rig": {"rig four"}, "folder": {"acq"}})
	watch := filepath.Join(root, "acq")
	r.page("/setup", watch, "no file of a shot in it")
	if err := os.WriteFile(filepath.Join(watch, "shot-1.csv"), []byte(csv(80)), 0o644); err != nil {
		t.Fatal(err)
	}
	r.page("/setup", "1 file of a shot in it")
	r.saved("/setup/file", url.Values{"newest": {"yes"}})
	r.saved("/setup/map", url.Values{"c0_column": {"ax"}, "c0_measures": {"linear acceleration"}, "c0_axis": {"x"}, "c0_unit": {"g"}, "c0_cfc": {"1000"},
		"time_column": {"t"}, "time_unit": {"s"}, "rule": {"quiet"}, "quiet_ms": {"100"}, "do": {"save"}})
	b, err := os.ReadFile(filepath.Join(r.opt.Data, "setup.json"))
	if err != nil || !strings.Contains(string(b), watch) {
		t.Errorf("kept, %v: %s, want %s", err, b, watch)
	}
	for _, f := range page.SetupChannelFields(0)[:4] {
		if !f.Plain {
			t.Errorf("%s is called optional", f.Label)
		}
	}
}

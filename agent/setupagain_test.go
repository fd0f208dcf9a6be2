package agent_test

import (
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"thudbook/agent"
)

// setUpOnce sets the rig up with a map that says more than any proposal, and
// gives the form that made it.
func setUpOnce(t *testing.T) (r *running, watch string, m url.Values) {
	t.Helper()
	watch = t.TempDir()
	r = start(t, func(o *agent.Options) { o.Watch, o.Rig = nil, "" })
	if err := os.WriteFile(filepath.Join(watch, "shot-1.csv"), []byte(csv(80)), 0o644); err != nil {
		t.Fatal(err)
	}
	r.saved("/setup/rig", url.Values{"rig": {"rig four"}, "folder": {watch}})
	r.saved("/setup/file", url.Values{"newest": {"yes"}})
	m = url.Values{"time_column": {"t"}, "time_unit": {"s"}, "baseline_ms": {"4"}, "mass_kg": {"15"}, "rule": {"quiet"}, "quiet_ms": {"100"}, "do": {"save"}}
	for i, axis := range []string{"x", "y", "z"} {
		p := "c" + string(rune('0'+i)) + "_"
		for k, v := range map[string]string{"column": "a" + axis, "measures": "linear acceleration", "axis": axis, "unit": "g", "cfc": "1000", "full_scale": "500", "uncertainty": "2.5"} {
			m.Set(p+k, v)
		}
	}
	r.saved("/setup/map", m)
	return r, watch, m
}

func (r *running) savedMapText() string {
	r.t.Helper()
	b, err := os.ReadFile(filepath.Join(r.opt.Data, "maps", "rig.toml"))
	if err != nil {
		r.t.Fatal(err)
	}
	return string(b)
}

// fields are the values of the form as the screen shows it.
func (r *running) fields(path string) url.Values {
	r.t.Helper()
	body, v := r.get(path).body, url.Values{}
	for _, m := range regexp.MustCompile(`<input type="text"[^>]* name="([^"]+)" value="([^"]*)"`).FindAllStringSubmatch(body, -1) {
		v.Set(m[1], m[2])
	}
	for _, m := range regexp.MustCompile(`(?s)<select [^>]*name="([^"]+)".*?</select>`).FindAllStringSubmatch(body, -1) {
		if o := regexp.MustCompile(`value="([^"]*)" selected`).FindStringSubmatch(m[0]); o != nil {
			v.Set(m[1], o[1])
		}
	}
	return v
}

// TestSetUpAgainKeepsTheMap: who opens the set-up once more, looks at a file and
// saves, loses nothing of the map; what would be lost is said first.
func TestSetUpAgainKeepsTheMap(t *testing.T) {
	r, watch, _ := setUpOnce(t)
	was := r.savedMapText()
	again := func() url.Values {
		t.Helper()
		r.saved("/setup/rig", url.Values{"rig": {"rig four"}, "folder": {watch}})
		r.saved("/setup/file", url.Values{"newest": {"yes"}})
		m := r.fields("/setup")
		m.Set("do", "save")
		return m
	}
	m := again()
	r.page("/setup", "This is the map that is saved", "Column gate is in the file", `name="mass_kg" value="15"`)
	r.saved("/setup/map", m)
	if now := r.savedMapText(); now != was {
		t.Errorf("saving the form as it was shown changes the map\n%s\nwas\n%s", now, was)
	}

	m = again()
	m.Del("mass_kg")
	m.Set("c0_full_scale", "200")
	m.Set("c2_measures", "")
	r.saved("/setup/map", m)
	if now := r.savedMapText(); now != was {
		t.Errorf("the map was replaced, and nobody had agreed\n%s", now)
	}
	body := r.page("/setup?ask=yes", "Not saved yet", "This replaces the map “rig four”", "Moving mass of the ram: 15 kg becomes none",
		"channel ax, Full scale, in the unit: 500 becomes 200", "channel az: left out")
	key := regexp.MustCompile(`name="replaces" value="([^"]+)"`).FindStringSubmatch(body)
	if key == nil {
		t.Fatal("there is nothing to agree with")
	}
	m = r.fields("/setup")
	m.Set("do", "save")
	m.Set("replaces", key[1])
	more := url.Values{}
	for k, v := range m {
		more[k] = v
	}
	more.Set("c1_full_scale", "100") // after the person had agreed
	r.saved("/setup/map", more)
	if now := r.savedMapText(); now != was {
		t.Errorf("the map was replaced by another than that which was agreed to\n%s", now)
	}
	r.saved("/setup/map", m)
	if now := r.savedMapText(); strings.Contains(now, "mass_kg") || !strings.Contains(now, "full_scale = 200.0") || strings.Contains(now, `"az"`) {
		t.Errorf("what was agreed to was not saved\n%s", now)
	}
}

// TestSetUpAgainWithAnotherFile: where no column of the saved map is in the file,
// what does not hang on columns stays, and what goes is said.
func TestSetUpAgainWithAnotherFile(t *testing.T) {
	r, watch, _ := setUpOnce(t)
	was := r.savedMapText()
	other := strings.NewReplacer("t,ax,ay,az,gate", "time,accx,accy,accz,beam").Replace(csv(70))
	if err := os.WriteFile(filepath.Join(watch, "shot-2.csv"), []byte(other), 0o644); err != nil {
		t.Fatal(err)
	}
	r.saved("/setup/rig", url.Values{"rig": {"rig four"}, "folder": {watch}})
	r.saved("/setup/file", url.Values{"newest": {"yes"}})
	r.page("/setup", "does not fit this file", "channel ax: left out", "channel accx: new", `name="mass_kg" value="15"`, `name="baseline_ms" value="4"`)
	m := r.fields("/setup")
	m.Set("do", "save")
	r.saved("/setup/map", m)
	if now := r.savedMapText(); now != was {
		t.Errorf("the map was replaced, and nobody had agreed\n%s", now)
	}
}

// pulses is a record in which all three axes move.
func pulses() string {
	var b strings.Builder
	b.WriteString("t,ax,ay,az\n")
	for i := range 1200 {
		t, a := float64(i)/20000, 0.05*float64(i%2)
		if t >= 0.020 && t < 0.030 {
			a += 80 * math.Sin(math.Pi*(t-0.020)/0.010)
		}
		fmt.Fprintf(&b, "%.5f,%.4f,%.4f,%.4f\n", t, a, 0.3*a, -0.2*a)
	}
	return b.String()
}

// TestCheckOfTheMapScores: what would spoil the shots is said before it is saved.
func TestCheckOfTheMapScores(t *testing.T) {
	r, watch, m := setUpOnce(t)
	if err := os.WriteFile(filepath.Join(watch, "shot-2.csv"), []byte(pulses()), 0o644); err != nil {
		t.Fatal(err)
	}
	r.saved("/setup/rig", url.Values{"rig": {"rig four"}, "folder": {watch}})
	r.saved("/setup/file", url.Values{"newest": {"yes"}})
	m.Set("do", "check")
	const good = "nothing to object"
	for _, c := range []struct{ what, field, value, says string }{
		{"a map in order", "c0_axis", "x", good},
		{"two columns on one axis", "c1_axis", "x", "twins disagree"},
		{"a baseline longer than the record", "baseline_ms", "900", "baseline in impact"},
		{"time in ms", "time_unit", "ms", "no return below 4g"},
	} {
		was := m.Get(c.field)
		m.Set(c.field, c.value)
		r.saved("/setup/map", m)
		body := r.page("/setup", "What a shot like this gives", "Peak linear acceleration", c.says)
		if c.says != good && strings.Contains(body, good) {
			t.Errorf("%s: there is nothing to object to it", c.what)
		}
		m.Set(c.field, was)
	}
}

package main

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

// parsed is what a command line comes to, with what is wrong with it.
func parsed(t *testing.T, args ...string) (*commands, error) {
	t.Helper()
	var c commands
	p, err := kong.New(&c, kong.Vars{"version": ""}, kong.Exit(func(int) {}), kong.Configuration(readSettings))
	if err != nil {
		t.Fatal(err)
	}
	_, err = p.Parse(args)
	return &c, err
}

func settingsFile(t *testing.T, text string) string {
	t.Helper()
	f := filepath.Join(t.TempDir(), "thudbook.toml")
	if err := os.WriteFile(f, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return f
}

func TestSettings(t *testing.T) {
	f := settingsFile(t, `
[agent]
data = "store"
watch = ["one", "/two"]
rig = "rig seven"
sync-every = "40s"
reserve-mb = 900
log-level = "warn"
[server]
data = "elsewhere"
proxy = ["192.0.2.7"]
`)
	dir := filepath.Dir(f)
	c, err := parsed(t, "agent", "--config", f, "--rig", "rig eight")
	if err != nil {
		t.Fatal(err)
	}
	a := &c.Agent
	if a.Data != filepath.Join(dir, "store") || len(a.Watch) != 2 || a.Watch[0] != filepath.Join(dir, "one") || a.Watch[1] != "/two" ||
		a.SyncEvery.String() != "40s" || a.ReserveMB != 900 || c.LogLevel != "warn" {
		t.Errorf("%+v, log %s", a, c.LogLevel)
	}
	if a.Rig != "rig eight" {
		t.Errorf("the rig is %q: a flag wins over the file", a.Rig)
	}
	if a.Listen != "127.0.0.1:8371" || a.LimitMB != 1024 {
		t.Errorf("what the file leaves out is %s, %d", a.Listen, a.LimitMB)
	}
	if c, err = parsed(t, "server", "--config", f); err != nil || len(c.Server.Proxy) != 1 || c.Server.Proxy[0] != "192.0.2.7" || c.Server.Data != filepath.Join(dir, "elsewhere") {
		t.Errorf("%+v, %v", c.Server, err)
	}
	for name, tc := range map[string]struct{ text, want string }{
		"no TOML":       {"[agent]\ndata = store\n", "line 2"},
		"unknown name":  {"[agent]\ndata = \"d\"\nriig = \"x\"\n", `no setting "riig"`},
		"unknown table": {"[agnet]\ndata = \"d\"\n", `"agnet" is no table`},
		"no table":      {"data = \"d\"\n", `"data" is no table`},
		"a code":        {"[agent]\ndata = \"d\"\ncode = \"X\"\n", `no setting "code"`},
		"wrong type":    {"[agent]\ndata = \"d\"\nreserve-mb = \"much\"\n", "reserve-mb"},
		"bad value":     {"[agent]\ndata = \"d\"\nreserve-mb = 0\n", "--reserve-mb is 0"},
		"nothing":       {"[agent]\n", "--data"},
		"path":          {"[agent]\ndata = 3\n", `"data" is a path`},
	} {
		if _, err := parsed(t, "agent", "--config", settingsFile(t, tc.text)); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v does not say %q", name, err, tc.want)
		}
	}
}

// TestBlankSettings: what is printed can be used once the comments are taken off.
func TestBlankSettings(t *testing.T) {
	for _, command := range []string{"agent", "server"} {
		var out, errOut bytes.Buffer
		if code := run(t.Context(), []string{command, "--write-config"}, &out, &errOut); code != exitOK {
			t.Fatalf("exit %d: %s", code, errOut.String())
		}
		if _, err := parsed(t, command, "--config", settingsFile(t, out.String()), "--data", t.TempDir()); err != nil {
			t.Errorf("%s, as printed: %v", command, err)
		}
		var set []string
		for line := range strings.Lines(out.String()) {
			if rest, ok := strings.CutPrefix(line, "# "); ok && strings.Contains(rest, " = ") && !strings.Contains(rest, "FILE") && !strings.HasPrefix(rest, "server =") {
				line = rest
			}
			set = append(set, line)
		}
		text := strings.Join(set, "")
		if n := strings.Count(text, "\n"+"data = "); n != 1 {
			t.Errorf("%s: data stands %d times in\n%s", command, n, text)
		}
		if _, err := parsed(t, command, "--config", settingsFile(t, text)); err != nil {
			t.Errorf("%s, taken off: %v\n%s", command, err, text)
		}
	}
}

func TestLogIsTurnedOver(t *testing.T) {
	dir := t.TempDir()
	l := logging{LogLevel: "info", LogFile: filepath.Join(dir, "agent.log"), LogMaxMB: 1, LogKeep: 2}
	var console bytes.Buffer
	log, done, err := l.open(&console)
	if err != nil {
		t.Fatal(err)
	}
	long := strings.Repeat("x", 1000)
	for i := range 5000 { // five files' worth
		log.Info("line", "n", i, "text", long)
	}
	log.Log(t.Context(), slog.LevelDebug, "not shown")
	if err := done(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(l.LogFile)
	if err != nil || !bytes.Contains(b, []byte("n=4999")) || len(b) > 1<<20 {
		t.Errorf("the last line is not in the log of %d bytes: %v", len(b), err)
	}
	if !bytes.Contains(console.Bytes(), []byte("n=0 ")) || bytes.Contains(console.Bytes(), []byte("not shown")) {
		t.Error("standard error lacks the first line, or has one too many")
	}
	waitFor(t, "only three log files", func() bool { // old ones are removed in the background
		all, err := filepath.Glob(filepath.Join(dir, "agent*"))
		return err == nil && len(all) <= 3
	})
}

func TestUnitOfTheService(t *testing.T) {
	f := settingsFile(t, "[agent]\ndata = \"store\"\n")
	var out, errOut bytes.Buffer
	if code := run(t.Context(), []string{"service", "install", "agent", "--config", f, "--user", "rig", "--print"}, &out, &errOut); code != exitOK {
		t.Fatalf("exit %d: %s", code, errOut.String())
	}
	for _, want := range []string{`"agent" "--config" "` + f + `"`, "User=rig\n", "Restart=always", "StartLimitIntervalSec=0"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the unit lacks %q:\n%s", want, out.String())
		}
	}
	if got := unitWord(`/data of 50% of $HOME/"x"`); got != `"/data of 50%% of $$HOME/\"x\""` {
		t.Errorf("a word with what has a meaning in units is %s", got)
	}
	if code := run(t.Context(), []string{"service", "install", "agent", "--config", settingsFile(t, "[agent]\nriig = 1\n"), "--print"}, &out, &errOut); code != exitUsage || !strings.Contains(errOut.String(), "riig") {
		t.Errorf("a file that cannot be used is installed: exit %d, %s", code, errOut.String())
	}
}

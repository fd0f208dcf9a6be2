package main

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"thudbook/sync/home"
)

// Flags that cannot be meant are refused, and the text says what to give.
func TestFlagsThatCannotBeMeant(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"agent", "--data", data, "--sync-every=-5s"}, exitUsage, "above zero"},
		{[]string{"agent", "--data", data, "--sync-every=0s"}, exitUsage, "above zero"},
		{[]string{"agent", "--data", data, "--limit-mb=-1"}, exitUsage, "at least 1"},
		{[]string{"agent", "--data", data, "--reserve-mb=0"}, exitUsage, "at least 1"},
		{[]string{"agent", "--data", data, "--code=ABC"}, exitUsage, "--server"},
		{[]string{"agent", "--data", data, "--map", filepath.Join(data, "missing.toml")}, exitInput, "missing.toml"},
		{[]string{"score", "--map", filepath.Join(data, "missing.toml"), "x.csv"}, exitInput, "missing.toml is not there; check the name after --map; thudbook map FILE proposes a map"},
		{[]string{"verify", "--data", data}, exitUsage, "there is no such folder"},
		{[]string{"backup", "--data", data, "--to", data + "2"}, exitUsage, "there is no such folder"},
		{[]string{"doctor", "--data", data}, exitUsage, "there is no such folder"},
		{[]string{"compact", "--data", data}, exitUsage, "there is no such folder"},
		{[]string{"restore", "--from", data, "--data", data + "2"}, exitUsage, "there is no finished backup"},
	} {
		out, errOut, code := thudbook(t.Context(), t, c.args...)
		if code != c.code || !strings.Contains(errOut, c.want) {
			t.Errorf("%v gave exit code %d, want %d and %q\n%s%s", c.args, code, c.code, c.want, out, errOut)
		}
	}
	if _, err := os.Stat(data); !os.IsNotExist(err) {
		t.Errorf("a refused call made the folder (%v)", err)
	}
}

func TestVersion(t *testing.T) {
	for _, arg := range []string{"version", "--version"} {
		out, errOut, code := thudbook(t.Context(), t, arg)
		if code != exitOK || !strings.HasPrefix(out, "thudbook ") || !strings.Contains(out, runtime.Version()) || !strings.Contains(out, "source revision ") {
			t.Errorf("%s gave exit code %d\n%s%s", arg, code, out, errOut)
		}
	}
}

// postShot posts one shot to an agent.
func postShot(t *testing.T, p *process, n int) {
	t.Helper()
	var form bytes.Buffer
	m := multipart.NewWriter(&form)
	part, err := m.CreateFormFile("file", fmt.Sprintf("shot-%d.csv", n))
	if err == nil {
		_, err = part.Write(shotBytes(n))
	}
	if err == nil {
		err = m.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	res, err := http.Post(p.url("/api/v1/shots"), m.FormDataContentType(), &form)
	if err != nil {
		t.Fatal(err)
	}
	if b := body(t, res); res.StatusCode != http.StatusCreated {
		t.Fatalf("shot %d: %s %s", n, res.Status, b)
	}
}

// wantRun runs a command and wants an exit code and a text.
func wantRun(t *testing.T, code int, want string, args ...string) {
	t.Helper()
	out, errOut, got := thudbook(t.Context(), t, args...)
	if got != code || !strings.Contains(out+errOut, want) {
		t.Errorf("%v gave exit code %d, want %d and %q\n%s%s", args, got, code, want, out, errOut)
	}
}

// The whole life of a folder with a real agent: looked at, verified and backed
// up while it runs, verified as a backup, restored, compacted, and in use again.
func TestCareOfARealAgent(t *testing.T) {
	dir := t.TempDir()
	data, to, back := filepath.Join(dir, "data"), filepath.Join(dir, "backup"), filepath.Join(dir, "restored")
	a := start(t, "agent", "--data", data, "--listen", "127.0.0.1:0")
	postShot(t, a, 1)
	wantRun(t, exitOK, "has the folder open and answers", "doctor", "--data", data)
	wantRun(t, exitOK, "nothing wrong was found", "verify", "--data", data)
	wantRun(t, exitOK, "backup 1 of node", "backup", "--data", data, "--to", to)
	postShot(t, a, 2)
	wantRun(t, exitOK, "backup 2 of node", "backup", "--data", data, "--to", to)
	wantRun(t, exitUsage, "has this folder open", "compact", "--data", data)
	postShot(t, a, 3) // not in the backup
	a.kill()
	wantRun(t, exitOK, "nothing wrong was found", "verify", "--data", data)
	wantRun(t, exitOK, "nothing wrong was found", "verify", "--data", to)
	wantRun(t, exitOK, "What to do now", "restore", "--from", to, "--data", back)
	wantRun(t, exitUsage, "not empty", "restore", "--from", to, "--data", back)
	wantRun(t, exitOK, "as a restore asks for", "verify", "--data", back)
	wantRun(t, exitOK, "nothing to do: the next record opens a new chain", "doctor", "--data", back)
	wantRun(t, exitOK, "every entry was compared", "compact", "--data", back)
	a = start(t, "agent", "--data", back, "--listen", "127.0.0.1:0")
	postShot(t, a, 3)
	postShot(t, a, 4)
	if code := a.stop(); code != exitOK {
		t.Errorf("the restored agent ended with %d", code)
	}
	wantRun(t, exitOK, "continues", "verify", "--data", back)
	wantRun(t, exitOK, "no backup was made", "doctor", "--data", back)
}

// A store that is cut, emptied or overwritten is damage in plain words: no text
// of the runtime reaches the person.
func TestVerifyOfARuinedStore(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	h, err := home.Open(t.Context(), home.Options{Dir: dir})
	if err == nil {
		err = h.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(home.StorePath(dir))
	if err != nil {
		t.Fatal(err)
	}
	for name, bad := range map[string][]byte{
		"empty": nil, "short": good[:100], "two pages": good[:2*os.Getpagesize()], "cut": good[:3*os.Getpagesize()],
		"text": bytes.Repeat([]byte("no store\n"), 5000), "zeros": make([]byte, len(good)),
	} {
		if err := os.WriteFile(home.StorePath(dir), bad, 0o600); err != nil {
			t.Fatal(err)
		}
		for _, cmd := range []string{"verify", "doctor"} {
			out, errOut, code := thudbook(t.Context(), t, cmd, "--data", dir)
			if all := out + errOut; code != exitDamage || !strings.Contains(all, "damaged") ||
				strings.Contains(all, "nil pointer") || strings.Contains(all, "goroutine") || strings.Contains(all, "runtime error") {
				t.Errorf("%s, %s: exit code %d\n%s", name, cmd, code, all)
			}
		}
		if after, err := os.ReadFile(home.StorePath(dir)); err != nil || !bytes.Equal(after, bad) {
			t.Errorf("%s: the file was changed (%v)", name, err)
		}
	}
}

// Compact, killed at instants spread over its whole run, leaves a store that
// holds everything.
func TestKilledCompactLosesNothing(t *testing.T) {
	dir := t.TempDir()
	data := filepath.Join(dir, "data")
	a := start(t, "agent", "--data", data, "--listen", "127.0.0.1:0")
	for n := range 5 {
		postShot(t, a, n)
	}
	a.stop()
	whole := time.Now()
	if runAndKill(t, time.Hour, "compact", "--data", data) {
		t.Fatal("a run that nobody ended did not end by itself")
	}
	took := time.Since(whole)
	killed := 0
	for i := range 12 {
		if !runAndKill(t, took*time.Duration(i+1)/10, "compact", "--data", data) {
			continue
		}
		killed++
	}
	t.Logf("%d of 12 runs were killed before their end", killed)
	wantRun(t, exitOK, "nothing wrong was found", "verify", "--data", data)
	wantRun(t, exitOK, "every entry was compared", "compact", "--data", data)
	parts, err := filepath.Glob(home.StorePath(data) + ".*")
	if err != nil || len(parts) != 0 {
		t.Errorf("left beside the store: %v, %v", parts, err)
	}
}

// runAndKill starts the binary and kills it after a while; false when it had
// ended before.
func runAndKill(t *testing.T, after time.Duration, args ...string) bool {
	t.Helper()
	bin, err := binary()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(bin, args...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	timer := time.AfterFunc(after, func() { _ = cmd.Process.Kill() })
	defer timer.Stop()
	_ = cmd.Wait() // how it ended stands in its state
	return !cmd.ProcessState.Exited()
}

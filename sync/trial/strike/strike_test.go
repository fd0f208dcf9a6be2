//go:build linux

package strike_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// program gives the built program: THUDBOOK_BIN, or one that is built here.
func program(t *testing.T) string {
	t.Helper()
	if bin := os.Getenv("THUDBOOK_BIN"); bin != "" {
		return bin
	}
	bin := filepath.Join(t.TempDir(), "thudbook")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", bin, "thudbook/cmd/thudbook").CombinedOutput(); err != nil {
		t.Fatalf("build the program: %v\n%s", err, out)
	}
	return bin
}

// agent is a running agent, under strace or not.
type agent struct {
	cmd  *exec.Cmd
	addr string
	out  *bytes.Buffer // read only after the end
	done chan struct{}
	err  error
}

// patience is how long an agent may take to come up: far more than it needs.
const patience = 2 * time.Minute

// start starts an agent over a data folder; an agent that ends at its start is
// given back without an address.
func start(ctx context.Context, t *testing.T, data string, command ...string) *agent {
	t.Helper()
	file := filepath.Join(t.TempDir(), "address")
	args := append(command, "agent", "--data", data, "--listen", "127.0.0.1:0", "--listen-file", file, "--reserve-mb", "1")
	a := &agent{cmd: exec.CommandContext(ctx, args[0], args[1:]...), out: &bytes.Buffer{}, done: make(chan struct{})}
	a.cmd.Stdout, a.cmd.Stderr = a.out, a.out
	a.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if err := a.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() { // ends with the process, which end waits for
		a.err = a.cmd.Wait()
		close(a.done)
	}()
	t.Cleanup(a.kill)
	for deadline := time.Now().Add(patience); ; {
		select {
		case <-a.done:
			return a
		case <-time.After(10 * time.Millisecond):
		}
		if b, err := os.ReadFile(file); err == nil && len(bytes.TrimSpace(b)) > 0 {
			a.addr = string(bytes.TrimSpace(b))
			return a
		}
		if time.Now().After(deadline) { // it hangs in its start: its end is judged all the same
			a.kill()
			return a
		}
	}
}

// kill ends the agent, and strace with it, as a power cut does.
func (a *agent) kill() {
	_ = syscall.Kill(-a.cmd.Process.Pid, syscall.SIGKILL) // it may have ended
	<-a.done
}

// stop asks the agent to end.
func (a *agent) stop(t *testing.T) {
	t.Helper()
	if err := a.cmd.Process.Signal(os.Interrupt); err != nil {
		t.Error(err)
	}
	<-a.done
	if a.err != nil {
		t.Errorf("the agent ended with %v\n%s", a.err, a.out)
	}
}

// post sends a shot and gives its id if it was acknowledged, or what was said.
func (a *agent) post(ctx context.Context, n int) (id, said string, err error) {
	var form bytes.Buffer
	m := multipart.NewWriter(&form)
	part, e1 := m.CreateFormFile("file", fmt.Sprintf("strike-%d.csv", n))
	if e1 != nil {
		return "", "", e1
	}
	_, e2 := fmt.Fprintf(part, "t,ax\n0.0000,%d\n0.0001,1\n0.0002,0\n0.0003,2\n", n)
	e3 := m.WriteField("meta", `{"specimen":"K-1","location":"front","target_speed_m_s":5.5,"kind":"shot"}`)
	if err := errors.Join(e2, e3, m.Close()); err != nil {
		return "", "", err
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	q, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://"+a.addr+"/api/v1/shots", &form)
	if err != nil {
		return "", "", err
	}
	q.Header.Set("Content-Type", m.FormDataContentType())
	q.Close = true
	res, err := http.DefaultClient.Do(q)
	if err != nil {
		return "", err.Error(), nil // the connection failed: nothing was acknowledged
	}
	b, err := io.ReadAll(res.Body)
	if err = errors.Join(err, res.Body.Close()); err != nil {
		return "", err.Error(), nil
	}
	var made struct {
		ID string `json:"id"`
	}
	if res.StatusCode != http.StatusCreated && res.StatusCode != http.StatusOK { // OK: the bytes are there from an earlier try
		return "", res.Status + " " + string(b), nil
	}
	return made.ID, string(b), json.Unmarshal(b, &made)
}

// points are the calls that fail: a few, or as many as THUDBOOK_STRIKES says.
func points(t *testing.T, quick ...int) []int {
	t.Helper()
	s := os.Getenv("THUDBOOK_STRIKES")
	if s == "" {
		return quick
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatalf("THUDBOOK_STRIKES: %v", err)
	}
	all := make([]int, n)
	for i := range all {
		all[i] = i + 1
	}
	return all
}

// TestAgentOnAFailingDisk: from the k-th call on, three calls fail. The agent
// may refuse, and goes on by itself when the disk is well again; what it
// acknowledged is there, also after a restart, and it records on (invariants L1, L3, L6).
func TestAgentOnAFailingDisk(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Fatalf("calls cannot be made to fail: %v; .ci/need installs strace", err)
	}
	bin := program(t)
	for _, c := range []struct {
		calls, what string
		points      []int
	}{
		{"pwrite64", "ENOSPC", points(t, 9, 14)},
		{"fdatasync,fsync", "EIO", points(t, 12, 16)},
	} {
		for _, k := range c.points {
			t.Run(fmt.Sprintf("%s %s %d", c.calls, c.what, k), func(t *testing.T) {
				struck(t, bin, strace, "-f", "-qq", "-o", os.DevNull, "--seccomp-bpf", "-e", "signal=none", "-e", "trace="+c.calls,
					"-e", fmt.Sprintf("inject=%s:error=%s:when=%d..%d", c.calls, c.what, k, k+2))
			})
		}
	}
}

func struck(t *testing.T, bin string, command ...string) {
	ctx := t.Context()
	data := filepath.Join(t.TempDir(), "data")
	a := start(ctx, t, data, append(command, bin)...)
	var acked []string
	if a.addr != "" {
		for n := range 4 {
			id, said, err := a.post(ctx, n)
			if err != nil {
				t.Fatal(err)
			}
			if id != "" {
				acked = append(acked, id)
			} else if strings.TrimSpace(said) == "" {
				t.Error("a shot was refused without a word")
			}
		}
	}
	for deadline := time.Now().Add(patience); a.addr != ""; { // it goes on by itself when the disk is well
		id, said, err := a.post(ctx, 50)
		if err != nil {
			t.Fatal(err)
		}
		if id != "" {
			acked = append(acked, id)
			break
		}
		select {
		case <-a.done:
			t.Fatalf("the agent ended: %v\n%s", a.err, a.out)
		case <-time.After(100 * time.Millisecond):
		}
		if time.Now().After(deadline) {
			t.Fatalf("the disk is well again, and shots are refused: %s", said)
		}
	}
	a.kill()
	if a.addr == "" && a.out.Len() == 0 {
		t.Error("the agent did not start, and said nothing")
	}
	if out := a.out.String(); strings.Contains(out, "panic:") || strings.Contains(out, "fatal error:") {
		t.Errorf("the agent broke down:\n%s", out)
	}

	a = start(ctx, t, data, bin)
	if a.addr == "" {
		t.Fatalf("on a good disk the agent does not start: %v\n%s", a.err, a.out)
	}
	for _, id := range acked {
		res, err := http.Get("http://" + a.addr + "/api/v1/shots/" + id)
		if err != nil {
			t.Fatal(err)
		}
		if err := res.Body.Close(); err != nil || res.StatusCode != http.StatusOK {
			t.Errorf("acknowledged shot %s: %s, %v", id, res.Status, err)
		}
	}
	if id, said, err := a.post(ctx, 100); id == "" || err != nil {
		t.Errorf("on a good disk a shot is refused: %s, %v", said, err)
	}
	a.stop(t)
	if out, err := exec.CommandContext(ctx, bin, "verify", "--data", data).CombinedOutput(); err != nil {
		t.Errorf("verify: %v\n%s", err, out)
	}
	t.Logf("%d shots acknowledged on the failing disk and after", len(acked))
}

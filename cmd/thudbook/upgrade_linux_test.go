package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"thudbook/sync/trial/programtest"
)

// place puts a program under a name in one step, as a person or a package does
// while the one before runs.
func place(t *testing.T, from, to string) {
	t.Helper()
	part := to + ".new"
	src, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	dst, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o755)
	if err != nil {
		t.Fatal(err)
	}
	_, err = io.Copy(dst, src)
	if e := dst.Close(); err != nil || e != nil {
		t.Fatal(err, e)
	}
	if err := os.Rename(part, to); err != nil {
		t.Fatal(err)
	}
}

// The program is replaced while it runs: it goes on and takes shots, ends in order
// when the service manager asks (SIGTERM), and the new one goes on over the same
// settings and store. Going back works in the same way.
func TestProgramReplacedWhileItRuns(t *testing.T) {
	old, err := binary()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	newer := filepath.Join(dir, "newer") // other bytes from the same source
	if out, err := exec.Command("go", "build", "-ldflags=-s -w", "-o", newer, "thudbook/cmd/thudbook").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	exe, data := filepath.Join(dir, "thudbook"), filepath.Join(dir, "data")
	config := settingsFile(t, fmt.Sprintf("[agent]\ndata = %q\nlisten = \"127.0.0.1:0\"\nreserve-mb = 1\nrig = \"rig seven\"\nlog-file = %q\n", data, filepath.Join(dir, "agent.log")))
	run := func() *process {
		t.Helper()
		p := programtest.Program{Path: exe}.Start(t, "agent", "--config", config)
		return &process{p, p.Addr, p.Out}
	}
	var shots []string
	post := func(a *process, n int) {
		t.Helper()
		id, said, err := tryPost(a.url(""), n)
		if err != nil || id == "" {
			t.Fatalf("shot %d: %v %s", n, err, said)
		}
		shots = append(shots, id)
	}
	end := func(a *process) {
		t.Helper()
		if err := a.Cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Fatal(err)
		}
		<-a.Ended()
		if code := a.Cmd.ProcessState.ExitCode(); code != exitOK {
			t.Errorf("it ended with %d\n%s", code, a.out)
		}
	}
	n := 0
	place(t, old, exe)
	a := run()
	for _, next := range []string{newer, old} {
		n++
		post(a, n)
		place(t, next, exe)
		if was, err := os.Readlink(fmt.Sprintf("/proc/%d/exe", a.Cmd.Process.Pid)); err != nil || !strings.HasSuffix(was, " (deleted)") { // proc(5)
			t.Errorf("it does not run from the file that was replaced: %s %v", was, err)
		}
		n++
		post(a, n)
		end(a)
		a = run()
		for _, id := range shots {
			if !hasShot(t, a, id) {
				t.Errorf("shot %s is not there any more", id)
			}
		}
	}
	end(a)
	wantRun(t, exitOK, "nothing wrong was found", "verify", "--data", data)
	log, err := os.ReadFile(filepath.Join(dir, "agent.log"))
	if err != nil || strings.Count(string(log), "msg=ready") != 3 || strings.Count(string(log), "msg=stopping") != 3 {
		t.Errorf("the log does not tell of three runs (%v):\n%s", err, log)
	}
}

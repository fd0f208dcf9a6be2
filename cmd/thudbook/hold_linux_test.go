package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// hold stops a process where it is and waits until all of it stands; false: it
// has ended.
func hold(t *testing.T, p *os.Process) bool {
	t.Helper()
	if p.Signal(syscall.SIGSTOP) != nil {
		return false
	}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Microsecond) {
		switch standing(p.Pid) {
		case 'T':
			return true
		case 0, 'Z', 'X':
			return false
		}
		if time.Now().After(deadline) {
			t.Fatalf("process %d cannot be held", p.Pid)
		}
	}
}

// standing gives the state of a process, that of a thread which still runs if
// there is one; 0: it is gone (proc_pid_stat(5)).
func standing(pid int) byte {
	all, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/stat", pid))
	if err != nil {
		return 0
	}
	state := byte(0)
	for _, path := range all {
		b, err := os.ReadFile(path)
		_, after, ok := bytes.Cut(b[bytes.LastIndexByte(b, ')')+1:], []byte(" "))
		if err != nil || !ok || len(after) == 0 {
			continue // this thread is gone
		}
		if state = after[0]; state != 'T' {
			break
		}
	}
	return state
}

func goOn(p *os.Process) { _ = p.Signal(syscall.SIGCONT) } // it may have ended

// holdsFile tells whether a process has a file of a folder open.
func holdsFile(pid int, dir string) bool {
	all, err := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", pid))
	if err != nil {
		return false
	}
	for _, link := range all {
		if to, err := os.Readlink(link); err == nil && strings.HasPrefix(to, dir+string(filepath.Separator)) {
			return true
		}
	}
	return false
}

package main

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// binary builds the program once for all tests of the package and gives its path.
var binary = sync.OnceValues(func() (string, error) {
	if ready := os.Getenv("THUDBOOK_BIN"); ready != "" {
		return ready, nil
	}
	dir, err := os.MkdirTemp("", "thudbook-test-*")
	if err != nil {
		return "", err
	}
	path := filepath.Join(dir, "thudbook")
	out, err := exec.Command("go", "build", "-o", path, ".").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return path, nil
})

// process is one running thudbook, as a person would start it.
type process struct {
	t    *testing.T
	cmd  *exec.Cmd
	out  *lockedBuffer
	addr string // "127.0.0.1:port"
	done chan error
}

// lockedBuffer collects what a process prints.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// start runs the binary with --listen-file and waits until it answers /readyz.
func start(t *testing.T, args ...string) *process {
	t.Helper()
	p, err := tryStart(t, args...)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func tryStart(t *testing.T, args ...string) (*process, error) {
	bin, err := binary()
	if err != nil {
		return nil, err
	}
	file := filepath.Join(t.TempDir(), "address")
	p := &process{t: t, out: &lockedBuffer{}, done: make(chan error, 1)}
	p.cmd = exec.Command(bin, append(args, "--listen-file", file)...)
	p.cmd.Stdout, p.cmd.Stderr = p.out, p.out
	if err := p.cmd.Start(); err != nil {
		return nil, err
	}
	go func() { p.done <- p.cmd.Wait() }()
	t.Cleanup(p.kill)
	deadline := time.Now().Add(30 * time.Second)
	for time.Now().Before(deadline) {
		select {
		case err := <-p.done:
			p.done <- err
			return nil, fmt.Errorf("%s ended at its start: %v\n%s", args[0], err, p.out)
		case <-time.After(5 * time.Millisecond):
		}
		b, err := os.ReadFile(file)
		if err != nil || len(bytes.TrimSpace(b)) == 0 {
			continue
		}
		p.addr = strings.TrimSpace(string(b))
		if res, err := http.Get("http://" + p.addr + "/readyz"); err == nil {
			res.Body.Close()
			if res.StatusCode == http.StatusOK {
				return p, nil
			}
		}
	}
	return nil, fmt.Errorf("%s did not become ready:\n%s", args[0], p.out)
}

// kill ends the process as a power cut would, and waits until it is gone.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	err := <-p.done
	p.done <- err
}

// stop asks the process to end and gives its exit code.
func (p *process) stop() int {
	_ = p.cmd.Process.Signal(os.Interrupt)
	select {
	case err := <-p.done:
		p.done <- err
	case <-time.After(20 * time.Second):
		p.t.Errorf("%s did not end when asked to:\n%s", p.cmd.Args[1], p.out)
		p.kill()
	}
	return p.cmd.ProcessState.ExitCode()
}

// url makes an address of the process.
func (p *process) url(path string) string { return "http://" + p.addr + path }

// body reads an answer whole.
func body(t *testing.T, res *http.Response) string {
	t.Helper()
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

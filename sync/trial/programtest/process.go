// Package programtest starts the real program as agents and servers over real
// folders, for trials that must not look inside: it enrols them, posts shots,
// asks for their state and kills them.
package programtest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// patience is how long a trial waits for what a process does by itself.
const patience = 90 * time.Second

// Program is a way to run the program. The zero value is this source, built
// once, on this computer.
type Program struct {
	Path  string   // empty: built from this source, or $THUDBOOK_BIN
	Under []string // a command that runs it, as "ip netns exec NAME"
	// Dial reaches addresses where the program runs; nil: from here.
	Dial  func(ctx context.Context, network, address string) (net.Conn, error)
	Roots *x509.CertPool // with which its certificate is checked; nil: it speaks plain HTTP
}

// Built builds the program from this source, once per process.
var Built = sync.OnceValues(func() (string, error) {
	if ready := os.Getenv("THUDBOOK_BIN"); ready != "" {
		return ready, nil
	}
	wd, err := os.Getwd()
	if err != nil {
		return "", err
	}
	// One name for each package under test, given at once: nothing piles up,
	// and who runs the former file keeps it.
	sum := sha256.Sum256([]byte(wd))
	dir := filepath.Join(os.TempDir(), fmt.Sprintf("thudbook-test-%d-%x", os.Getuid(), sum[:4]))
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", err
	}
	path := filepath.Join(dir, "thudbook")
	fresh := fmt.Sprintf("%s-%d", path, os.Getpid())
	if out, err := exec.Command("go", "build", "-o", fresh, "thudbook/cmd/thudbook").CombinedOutput(); err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return path, os.Rename(fresh, path)
})

// Process is one running program, as a person would start it.
type Process struct {
	Addr string // "127.0.0.1:port"
	Cmd  *exec.Cmd
	Out  *Output
	HTTP *http.Client // reaches it

	t    testing.TB
	tls  bool
	done chan struct{}
	err  error // of the end, once done is closed
}

// Output collects what a process prints.
type Output struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (o *Output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.Write(p)
}

func (o *Output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.String()
}

// Start runs the program with --listen-file and waits until it answers /readyz.
func (p Program) Start(t testing.TB, args ...string) *Process {
	t.Helper()
	proc, err := p.Try(t, args...)
	if err != nil {
		t.Fatal(err)
	}
	return proc
}

// Try is Start where not becoming ready is an answer.
func (p Program) Try(t testing.TB, args ...string) (*Process, error) {
	bin := p.Path
	if bin == "" {
		var err error
		if bin, err = Built(); err != nil {
			return nil, err
		}
	}
	file := filepath.Join(t.TempDir(), "address")
	words := append(append(append([]string(nil), p.Under...), bin), append(args, "--listen-file", file)...)
	tr := &http.Transport{DialContext: p.Dial, TLSClientConfig: &tls.Config{RootCAs: p.Roots, MinVersion: tls.VersionTLS12}}
	proc := &Process{t: t, Out: &Output{}, tls: p.Roots != nil, done: make(chan struct{}),
		HTTP: &http.Client{Transport: tr, Timeout: patience}, Cmd: exec.Command(words[0], words[1:]...)}
	proc.Cmd.Stdout, proc.Cmd.Stderr = proc.Out, proc.Out
	if err := proc.Cmd.Start(); err != nil {
		return nil, err
	}
	go func() { proc.err = proc.Cmd.Wait(); close(proc.done) }()
	t.Cleanup(func() { proc.Kill(); tr.CloseIdleConnections() })
	deadline := time.Now().Add(patience)
	for time.Now().Before(deadline) {
		select {
		case <-proc.done:
			return nil, fmt.Errorf("%s ended at its start: %v\n%s", args[0], proc.err, proc.Out)
		case <-time.After(5 * time.Millisecond):
		}
		b, err := os.ReadFile(file)
		if err != nil || len(bytes.TrimSpace(b)) == 0 {
			continue
		}
		proc.Addr = strings.TrimSpace(string(b))
		if res, err := proc.HTTP.Get(proc.URL("/readyz")); err == nil {
			_ = res.Body.Close()
			if res.StatusCode == http.StatusOK {
				return proc, nil
			}
		}
	}
	return nil, fmt.Errorf("%s did not become ready:\n%s", args[0], proc.Out)
}

// URL makes an address of the process.
func (p *Process) URL(path string) string {
	if p.tls {
		return "https://" + p.Addr + path
	}
	return "http://" + p.Addr + path
}

// Ended is closed when the process is gone.
func (p *Process) Ended() <-chan struct{} { return p.done }

// Kill ends the process as a power cut would, and waits until it is gone.
func (p *Process) Kill() {
	_ = p.Cmd.Process.Kill()
	<-p.done
}

// Stop asks the process to end and gives its exit code.
func (p *Process) Stop() int {
	_ = p.Cmd.Process.Signal(os.Interrupt)
	select {
	case <-p.done:
	case <-time.After(patience):
		p.t.Errorf("%s did not end when asked to:\n%s", p.Cmd.Args, p.Out)
		p.Kill()
	}
	return p.Cmd.ProcessState.ExitCode()
}

// Wait waits for a condition and gives up after a while.
func Wait(t testing.TB, most time.Duration, what string, ready func() bool) {
	t.Helper()
	for deadline := time.Now().Add(most); !ready(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("not after %v: %s", most, what)
		}
	}
}

package main

import (
	"fmt"
	"io"
	"net/http"
	"testing"

	"thudbook/sync/trial/programtest"
)

// binary builds the program once for all tests of the package and gives its path.
var binary = programtest.Built

// process is one running thudbook, as a person would start it.
type process struct {
	*programtest.Process
	addr string // "127.0.0.1:port"
	out  fmt.Stringer
}

// start runs the binary with --listen-file and waits until it answers /readyz.
func start(t *testing.T, args ...string) *process {
	t.Helper()
	p := programtest.Program{}.Start(t, args...)
	return &process{p, p.Addr, p.Out}
}

// kill ends the process as a power cut would, and waits until it is gone.
func (p *process) kill() { p.Kill() }

// stop asks the process to end and gives its exit code.
func (p *process) stop() int { return p.Stop() }

// url makes an address of the process.
func (p *process) url(path string) string { return p.URL(path) }

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

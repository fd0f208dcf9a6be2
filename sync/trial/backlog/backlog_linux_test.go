package backlog

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"thudbook/sync/trial/programtest"
)

// What a backlog of any length may take, in bytes of anonymous resident memory.
const (
	mostAgent  = 150 << 20
	mostServer = 300 << 20
)

// size gives a number from the environment.
func size(t *testing.T, name string, usual int) int {
	t.Helper()
	s := os.Getenv(name)
	if s == "" {
		return usual
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		t.Fatalf("%s=%q is not a number above zero", name, s)
	}
	return n
}

// peak is the most that a process was seen to take, in bytes.
type peak struct{ anonymous, total int64 }

// see reads /proc: RssAnon is what is not a page of a file.
func (p *peak) see(t *testing.T, proc *programtest.Process) {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", proc.Cmd.Process.Pid))
	if err != nil {
		t.Fatalf("%v: the process is gone\n%s", err, proc.Out)
	}
	for _, f := range []struct {
		name string
		into *int64
	}{{"RssAnon:", &p.anonymous}, {"VmRSS:", &p.total}} {
		_, rest, found := strings.Cut(string(b), f.name)
		if !found {
			t.Fatalf("/proc says nothing of %s", f.name)
		}
		kib, err := strconv.ParseInt(strings.Fields(rest)[0], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		*f.into = max(*f.into, kib<<10)
	}
}

func (p peak) String() string {
	return fmt.Sprintf("%.0f MiB anonymous, %.0f MiB in all", float64(p.anonymous)/(1<<20), float64(p.total)/(1<<20))
}

// TestMemoryOfABacklog posts shots to an agent without a server, then connects
// it, and watches both while everything goes over: 20,000 shots by make memory.
func TestMemoryOfABacklog(t *testing.T) {
	shots, samples := size(t, "THUDBOOK_BACKLOG_SHOTS", 300), size(t, "THUDBOOK_BACKLOG_SAMPLES", 400)
	var p programtest.Program
	server := p.StartServer(t)
	agent := p.StartAgent(t, "--limit-mb", "64")
	var atAgent, atServer peak
	ids := make([]string, shots)
	for i := range ids {
		ids[i] = agent.Post(fmt.Sprintf("shot-%06d.csv", i), programtest.Shot(i, samples))
		if i%20 == 0 {
			atAgent.see(t, agent.Process)
		}
	}
	t.Logf("%d shots taken in; the agent took %v", shots, atAgent)
	if code := agent.Stop(); code != 0 {
		t.Fatalf("the agent ended with %d\n%s", code, agent.Out)
	}
	agent.With("--limit-mb", "64", "--server", server.URL(""), "--code", server.Code())
	began := time.Now()
	agent.Again()
	programtest.Wait(t, 2*time.Hour, "the backlog is acknowledged", func() bool {
		atAgent.see(t, agent.Process)
		atServer.see(t, server.Process)
		return agent.Drained()
	})
	took := time.Since(began)
	t.Logf("%d shots drained in %.1f s; agent %v; server %v", shots, took.Seconds(), atAgent, atServer)
	if atAgent.anonymous > mostAgent {
		t.Errorf("the agent took %v, at most %d MiB anonymous are allowed", atAgent, mostAgent>>20)
	}
	if atServer.anonymous > mostServer {
		t.Errorf("the server took %v, at most %d MiB anonymous are allowed", atServer, mostServer>>20)
	}
	for range min(shots, 50) { // a sample: trials of what may be lost are elsewhere
		i := rand.IntN(shots)
		if !bytes.Equal(server.Source(ids[i]), programtest.Shot(i, samples)) {
			t.Errorf("shot %d is not on the server as it was posted", i)
		}
	}
	if n := len(server.Shots()); n != shots {
		t.Errorf("the server lists %d shots, want %d", n, shots)
	}
}

package httppeer_test

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// The environment of a child that is to be killed.
const (
	envRole  = "THUDBOOK_TEST_ROLE"
	envDir   = "THUDBOOK_TEST_DIR"
	envLab   = "THUDBOOK_TEST_LAB"
	envNode  = "THUDBOOK_TEST_NODE" // server: folder of the agent's key; agent: folder of the server's
	envProxy = "THUDBOOK_TEST_URL"
)

// child starts this test binary in a role and gives the first line it prints.
func child(t *testing.T, env ...string) (*exec.Cmd, string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestChild$", "-test.timeout=5m")
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if text, ok := strings.CutPrefix(lines.Text(), "child: "); ok {
			return cmd, text
		}
	}
	_ = cmd.Wait()
	t.Fatal("the child ended without a word")
	return nil, ""
}

func kill(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // it was killed: its error says so
}

// TestChild is what runs in the processes that TestKilledInTheMiddle kills.
func TestChild(t *testing.T) {
	role := os.Getenv(envRole)
	if role == "" {
		t.Skip("only as a child of another test")
	}
	lab := uuid.MustParse(os.Getenv(envLab))
	if role == "server" {
		r := &rig{server: ledgertest.Open(t, ledgertest.Options{Dir: os.Getenv(envDir)}), registry: &exchangetest.Registry{}, lab: lab}
		r.service = exchangetest.Service(t, r.server)
		r.registry.Add(exchangetest.PrincipalIn(t, os.Getenv(envNode), lab))
		r.serve(t, httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{}))
		fmt.Println("child:", r.http.URL)
		_, _ = io.Copy(io.Discard, os.Stdin) // until killed
		<-t.Context().Done()
		return
	}
	agent := ledgertest.Open(t, ledgertest.Options{Dir: os.Getenv(envDir)})
	pin := exchange.Pinned{}
	server := exchangetest.PrincipalIn(t, os.Getenv(envNode))
	pin.ID, pin.Key = server.Node, server.Key
	c, err := httppeer.NewClient(httppeer.ClientOptions{URL: os.Getenv(envProxy), Node: agent.Node.ID, Key: agent.Node.PrivateKey, Server: pin})
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println("child: ready")
	_, err = exchange.Run(t.Context(), exchange.Options{Ledger: agent.Ledger, Blobs: agent.Blobs, Store: agent.Store, Key: agent.Node.PrivateKey, Server: pin,
		Fetch: func(*record.Record, record.Attachment) bool { return true }}, c)
	if err != nil {
		t.Fatal(err)
	}
}

// Killed without warning in the middle of a transfer, on either side and in
// either direction: the transfer goes on and nothing is wrong in the end. Where
// the kill falls is left to chance; that it falls into the transfer is seen by
// the bytes that passed.
func TestKilledInTheMiddle(t *testing.T) {
	t.Parallel()
	size, kills := int64(12<<20), 3
	if fullRuns() {
		size, kills = 256<<20, 40
	}
	for _, role := range []string{"server", "agent"} {
		t.Run(role, func(t *testing.T) {
			dir := t.TempDir()
			agentDir, serverDir, lab := filepath.Join(dir, "agent"), filepath.Join(dir, "server"), exchangetest.Lab(t)
			for _, d := range []string{agentDir, serverDir} { // keys first
				if err := os.MkdirAll(d, 0o700); err != nil {
					t.Fatal(err)
				}
				l := ledgertest.Open(t, ledgertest.Options{Dir: d})
				exchangetest.Shots(t, l, lab, 3, 5000)
				if d == agentDir {
					exchangetest.Large(t, l, lab, "film", size)
				}
				l.Stop(t)
			}
			for range kills {
				killOnce(t, role, agentDir, serverDir, lab, size/int64(kills+1))
			}
			finish(t, agentDir, serverDir, lab, size)
		})
	}
}

// meter counts the bytes of request bodies that have passed, and holds on at a
// number of them. What the system had received beyond them is lost, as with a
// connection that is reset: it may be so much that nothing were left to send.
type meter struct {
	next  http.Handler
	left  atomic.Int64
	reach chan struct{} // closed then
	gone  chan struct{} // closed when the sender is dead
}

func (m *meter) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	r.Body = &meteredBody{r.Body, m}
	m.next.ServeHTTP(w, r)
}

type meteredBody struct {
	io.ReadCloser
	m *meter
}

func (b *meteredBody) Read(p []byte) (int, error) {
	if b.m.left.Load() <= 0 {
		<-b.m.gone
		return 0, io.ErrUnexpectedEOF
	}
	n, err := b.ReadCloser.Read(p)
	if after := b.m.left.Add(-int64(n)); after <= 0 && after+int64(n) > 0 {
		close(b.m.reach)
		<-b.m.gone
	}
	return n, err
}

func killOnce(t *testing.T, role, agentDir, serverDir string, lab record.LabID, after int64) {
	t.Helper()
	after = after/2 + rand.Int64N(after/2) // all kills together fall before the end
	if role == "agent" {                   // the server is here and sees how far it came
		server := ledgertest.Open(t, ledgertest.Options{Dir: serverDir})
		r := &rig{server: server, registry: &exchangetest.Registry{}, lab: lab}
		r.service = exchangetest.Service(t, server)
		r.registry.Add(exchangetest.PrincipalIn(t, agentDir, lab))
		m := &meter{next: httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{}), reach: make(chan struct{}), gone: make(chan struct{})}
		m.left.Store(after)
		r.serveAny(t, m)
		cmd, _ := child(t, envRole+"=agent", envDir+"="+agentDir, envNode+"="+serverDir, envLab+"="+lab.String(), envProxy+"="+r.http.URL)
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		select {
		case <-m.reach:
			if err := cmd.Process.Kill(); err != nil {
				t.Error(err)
			}
			<-ended
		case err := <-ended:
			t.Errorf("the agent ended before it was killed, %d bytes early: %v", m.left.Load(), err)
		}
		close(m.gone)
		r.http.Close()
		server.Stop(t)
		return
	}
	cmd, url := child(t, envRole+"=server", envDir+"="+serverDir, envNode+"="+agentDir, envLab+"="+lab.String())
	agent := ledgertest.Open(t, ledgertest.Options{Dir: agentDir})
	server := exchangetest.PrincipalIn(t, serverDir)
	pin := exchange.Pinned{ID: server.Node, Key: server.Key}
	c, err := httppeer.NewClient(httppeer.ClientOptions{URL: url, Node: agent.Node.ID, Key: agent.Node.PrivateKey, Server: pin})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	killed := false
	_, err = exchange.Run(t.Context(), exchange.Options{Ledger: agent.Ledger, Blobs: agent.Blobs, Store: agent.Store, Key: agent.Node.PrivateKey, Server: pin,
		Batch: &exchange.BatchSize{}, Fetch: func(*record.Record, record.Attachment) bool { return true }, Progress: func(p exchange.Progress) {
			if p.BytesSent > after && !killed {
				killed = true
				kill(t, cmd)
			}
		}}, c)
	if !killed {
		kill(t, cmd)
	}
	if killed == (err == nil) {
		t.Errorf("killed %v, the session ended with %v", killed, err)
	}
	agent.Stop(t)
}

// finish holds a last session and compares everything.
func finish(t *testing.T, agentDir, serverDir string, lab record.LabID, size int64) {
	t.Helper()
	r := &rig{agent: ledgertest.Open(t, ledgertest.Options{Dir: agentDir}), server: ledgertest.Open(t, ledgertest.Options{Dir: serverDir}),
		registry: &exchangetest.Registry{}, lab: lab}
	r.service = exchangetest.Service(t, r.server)
	r.registry.Add(exchangetest.Principal(r.agent, lab))
	r.serve(t, httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{}))
	o := exchangetest.Options(r.agent, r.service)
	o.Fetch = func(*record.Record, record.Attachment) bool { return true }
	if _, err := exchange.Run(t.Context(), o, r.client(t, r.http.URL)); err != nil {
		t.Fatal(err)
	}
	exchangetest.Same(t, r.agent, r.server, true, lab)
	if err := r.server.Blobs.Verify(t.Context(), exchangetest.LargeSum(size)); err != nil {
		t.Error(err)
	}
}

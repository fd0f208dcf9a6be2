package continuity_test

import (
	"bytes"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/sync/trial/programtest"
)

// scene is a server with agents, and what was acknowledged.
type scene struct {
	t      *testing.T
	server *programtest.Server
	agent  *programtest.Agent
	other  *programtest.Agent // a second one, as a copy of the first; nil: none
	posted map[string][]byte  // shot -> its file
	lost   map[string]bool    // shots that were nowhere but in a folder that is gone
	told   []string           // kinds of alarms of which one must be there at the end
}

func newScene(t *testing.T) *scene {
	var p programtest.Program
	s := &scene{t: t, posted: map[string][]byte{}, lost: map[string]bool{}}
	s.server = p.StartServer(t)
	s.agent = p.StartAgent(t, "--server", s.server.URL(""), "--code", s.server.Code())
	s.agent.With() // what enrolment settled is kept; a code serves once
	return s
}

// post records shots at an agent, each with a source of its own.
func (s *scene) post(a *programtest.Agent, n int) (ids []string) {
	s.t.Helper()
	for range n {
		source := programtest.Shot(len(s.posted)+1, 300)
		id := a.Post(fmt.Sprintf("shot-%03d.csv", len(s.posted)), source)
		s.posted[id] = source
		ids = append(ids, id)
	}
	return ids
}

// drained waits until an agent has handed over everything.
func (s *scene) drained(a *programtest.Agent) {
	s.t.Helper()
	defer func() {
		if s.t.Failed() {
			s.t.Logf("the agent says %+v", a.Sync())
		}
	}()
	programtest.Wait(s.t, time.Minute, "everything is handed over", a.Drained)
}

// copyOf copies a folder of a stopped process.
func copyOf(t *testing.T, from string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	return to
}

// putBack replaces what is in a folder by what a copy holds.
func putBack(t *testing.T, dir, from string) {
	t.Helper()
	wipe(t, dir)
	if err := os.CopyFS(dir, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Join(dir, "node.json"), 0o600); err != nil {
		t.Fatal(err)
	}
}

func wipe(t *testing.T, dir string) {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range all {
		if err := os.RemoveAll(path); err != nil {
			t.Fatal(err)
		}
	}
}

func command(t *testing.T, args ...string) {
	t.Helper()
	bin, err := programtest.Built()
	if err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(bin, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", strings.Join(args, " "), err, out)
	}
}

// settle waits until both sides are at rest, and compares the server with what
// was acknowledged.
func (s *scene) settle() {
	t := s.t
	t.Helper()
	agents := []*programtest.Agent{s.agent}
	if s.other != nil {
		agents = append(agents, s.other)
	}
	programtest.Wait(t, 90*time.Second, "the server has every acknowledged shot", func() bool {
		there := map[string]int{}
		for _, x := range s.server.Shots() {
			there[x.ID]++
		}
		for id := range s.posted {
			if there[id] == 0 && !s.lost[id] {
				return false
			}
		}
		return true
	})
	for _, a := range agents {
		s.drained(a)
	}
	seen := map[string]bool{}
	for _, x := range s.server.Shots() {
		if seen[x.ID] {
			t.Errorf("shot %s is listed twice", x.ID)
		}
		seen[x.ID] = true
		want, ok := s.posted[x.ID]
		if !ok {
			t.Errorf("the server lists shot %s, which nobody posted", x.ID)
			continue
		}
		programtest.Wait(t, time.Minute, "the file of shot "+x.ID+" is on the server", func() bool { return s.server.Source(x.ID) != nil })
		if got := s.server.Source(x.ID); !bytes.Equal(got, want) {
			t.Errorf("the file of shot %s is not the one that was posted", x.ID)
		}
	}
	s.wantTold(agents)
	for _, a := range agents {
		a.Stop()
		verified(t, a.Data)
	}
	s.server.Stop()
	verified(t, s.server.Data)
}

// wantTold: a person is told, at the rig or at the server.
func (s *scene) wantTold(agents []*programtest.Agent) {
	s.t.Helper()
	type alarm struct {
		Alarm string `json:"alarm"`
		Text  string `json:"text"`
	}
	var all []alarm
	has := func() bool {
		all = nil
		s.server.Ask(http.MethodGet, "/api/v1/alarms", nil, &all)
		for _, a := range agents {
			var more []alarm
			a.Ask(http.MethodGet, "/api/v1/alarms", nil, &more)
			all = append(all, more...)
		}
		for _, a := range all {
			for _, kind := range s.told {
				if a.Alarm == kind && a.Text != "" {
					return true
				}
			}
		}
		return false
	}
	if len(s.told) == 0 {
		return
	}
	defer func() {
		if s.t.Failed() {
			s.t.Logf("alarms: %+v", all)
		}
	}()
	programtest.Wait(s.t, 30*time.Second, fmt.Sprintf("an alarm of one of the kinds %q", s.told), has)
}

// verified checks a stopped folder; closed chains are no damage.
func verified(t *testing.T, dir string) {
	t.Helper()
	bin, err := programtest.Built()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(bin, "verify", "--data", dir)
	out, err := cmd.CombinedOutput()
	if code := cmd.ProcessState.ExitCode(); code != 0 && code != 4 { // 4: two histories are kept, as they must be
		t.Errorf("verify gave %d, %v\n%s", code, err, out)
	}
}

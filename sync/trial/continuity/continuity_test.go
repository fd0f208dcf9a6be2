package continuity_test

import (
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"thudbook/sync/trial/programtest"
)

// scenes are what happens to folders, by whoever comes first afterwards.
func scenes() map[string]func(s *scene, agentFirst bool) {
	return map[string]func(*scene, bool){
		"store put back, anchor stays":       storePutBack,
		"folder put back, nothing written":   func(s *scene, first bool) { folderPutBack(s, first, 0) },
		"folder put back, and used":          func(s *scene, first bool) { folderPutBack(s, first, 2) },
		"folder put back, and used for long": func(s *scene, first bool) { folderPutBack(s, first, 6) },
		"folder put back twice":              folderPutBackTwice,
		"agent restored by command":          agentRestored,
		"folder copied to another PC":        folderCopied,
		"agent's folder wiped":               agentWiped,
		"server restored by command":         serverRestored,
		"server's folder put back by hand":   serverPutBack,
		"both put back":                      bothPutBack,
		"server's folder wiped":              serverWiped,
	}
}

// TestContinuity plays every scene with the agent coming back first, and with
// the server.
func TestContinuity(t *testing.T) {
	for name, play := range scenes() {
		for order, agentFirst := range map[string]bool{"agent first": true, "server first": false} {
			t.Run(name+", "+order, func(t *testing.T) {
				if !agentFirst && os.Getenv("THUDBOOK_CONTINUITY") == "" {
					t.Skip("the other order: make continuity")
				}
				t.Parallel()
				s := newScene(t)
				play(s, agentFirst)
				s.settle()
			})
		}
	}
}

// away does something while the server is away, and lets both come back in an
// order: what agents write before the server is there comes from before its
// first answer.
func (s *scene) away(agentFirst bool, wrote int, do func()) {
	s.t.Helper()
	s.agent.Kill()
	s.server.Kill()
	do()
	if agentFirst {
		s.agent.Again()
		s.post(s.agent, wrote)
		s.server.Again()
		return
	}
	s.server.Again()
	s.agent.Again()
	s.post(s.agent, wrote)
}

// agentCopied copies the agent's folder between shots that the server has.
func (s *scene) agentCopied() (old string) {
	s.t.Helper()
	s.post(s.agent, 2)
	s.drained(s.agent)
	s.agent.Kill()
	old = copyOf(s.t, s.agent.Data)
	s.agent.Again()
	s.post(s.agent, 3)
	s.drained(s.agent)
	return old
}

func storePutBack(s *scene, agentFirst bool) {
	old := s.agentCopied()
	s.told = []string{"chain_notice"}
	s.away(agentFirst, 2, func() {
		b, err := os.ReadFile(filepath.Join(old, "store.db"))
		if err == nil {
			err = os.WriteFile(filepath.Join(s.agent.Data, "store.db"), b, 0o600)
		}
		if err != nil {
			s.t.Fatal(err)
		}
	})
}

func folderPutBack(s *scene, agentFirst bool, wrote int) {
	old := s.agentCopied()
	s.told = []string{"agent_set_back", "two_histories", "chain_notice", "chain_closed"}
	s.away(agentFirst, wrote, func() { putBack(s.t, s.agent.Data, old) })
}

func folderPutBackTwice(s *scene, agentFirst bool) {
	s.post(s.agent, 1)
	s.drained(s.agent)
	s.agent.Kill()
	old := copyOf(s.t, s.agent.Data)
	s.agent.Again()
	s.post(s.agent, 2)
	s.drained(s.agent)
	s.told = []string{"agent_set_back", "two_histories"}
	for range 2 {
		s.away(agentFirst, 2, func() { putBack(s.t, s.agent.Data, old) })
		s.drained(s.agent)
	}
}

func agentRestored(s *scene, agentFirst bool) {
	s.post(s.agent, 2)
	backup := filepath.Join(s.t.TempDir(), "backup")
	command(s.t, "backup", "--data", s.agent.Data, "--to", backup) // while it runs
	s.post(s.agent, 3)
	s.drained(s.agent)
	s.told = []string{"agent_set_back", "two_histories", "chain_notice", "chain_closed"}
	s.away(agentFirst, 2, func() {
		fresh := filepath.Join(s.t.TempDir(), "restored")
		command(s.t, "restore", "--from", backup, "--data", fresh)
		s.agent.Data = fresh
	})
}

func folderCopied(s *scene, agentFirst bool) {
	s.post(s.agent, 2)
	s.drained(s.agent)
	s.told = []string{"two_histories", "agent_set_back"}
	s.away(agentFirst, 1, func() {
		other := *s.agent
		other.Data = copyOf(s.t, s.agent.Data)
		if err := os.Chmod(filepath.Join(other.Data, "node.json"), 0o600); err != nil {
			s.t.Fatal(err)
		}
		other.Again()
		s.other = &other
		s.post(s.other, 2)
	})
	s.post(s.other, 1)
	s.post(s.agent, 2)
}

func agentWiped(s *scene, agentFirst bool) {
	s.post(s.agent, 3)
	s.drained(s.agent)
	s.away(agentFirst, 1, func() {
		wipe(s.t, s.agent.Data)
	})
	s.agent.Kill()
	s.agent.With("--server", s.server.URL(""), "--code", s.server.Code())
	s.agent.Again()
	s.post(s.agent, 1)
}

func serverRestored(s *scene, agentFirst bool) {
	s.post(s.agent, 2)
	s.drained(s.agent)
	backup := filepath.Join(s.t.TempDir(), "backup")
	command(s.t, "backup", "--data", s.server.Data, "--to", backup)
	s.post(s.agent, 3)
	s.drained(s.agent)
	s.told = []string{"server_set_back"}
	s.away(agentFirst, 1, func() {
		fresh := filepath.Join(s.t.TempDir(), "restored")
		command(s.t, "restore", "--from", backup, "--data", fresh)
		keepPassword(s.t, s.server.Data, fresh)
		s.server.Data = fresh
	})
}

func serverPutBack(s *scene, agentFirst bool) {
	s.post(s.agent, 2)
	s.drained(s.agent)
	s.server.Kill()
	old := copyOf(s.t, s.server.Data)
	s.server.Again()
	s.post(s.agent, 3)
	s.drained(s.agent)
	s.told = []string{"server_set_back"}
	s.away(agentFirst, 1, func() { putBack(s.t, s.server.Data, old) })
}

func bothPutBack(s *scene, agentFirst bool) {
	s.post(s.agent, 2)
	s.drained(s.agent)
	s.agent.Kill()
	s.server.Kill()
	oldAgent, oldServer := copyOf(s.t, s.agent.Data), copyOf(s.t, s.server.Data)
	s.server.Again()
	s.agent.Again()
	gone := s.post(s.agent, 2) // in no folder that is left
	s.drained(s.agent)
	for _, id := range gone {
		s.lost[id] = true
	}
	s.away(agentFirst, 2, func() {
		putBack(s.t, s.agent.Data, oldAgent)
		putBack(s.t, s.server.Data, oldServer)
	})
}

func serverWiped(s *scene, agentFirst bool) {
	s.post(s.agent, 3)
	s.drained(s.agent)
	s.told = []string{"another_server", "not_enrolled"}
	var p programtest.Program
	s.agent.Kill()
	s.server.Kill()
	fresh := func() {
		was := s.server.Lab
		s.server = p.StartServer(s.t, "--listen", s.server.Addr)
		s.server.Ask(http.MethodPost, "/api/v1/labs", map[string]string{"name": "the lab as it was", "id": was}, nil)
		s.server.Lab = was
	}
	if !agentFirst {
		fresh()
	}
	s.agent.Again()
	s.post(s.agent, 1)
	if agentFirst {
		fresh()
	}
	s.wantTold([]*programtest.Agent{s.agent})
	s.agent.Kill()
	s.agent.With("--server", "http://localhost:"+port(s.server.Addr), "--code", s.server.Code())
	s.agent.Again()
	s.post(s.agent, 1)
}

// keepPassword lets the test sign in to a restored server as before: the file
// with the first password is no part of a backup.
func keepPassword(t *testing.T, from, to string) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(from, "first-password"))
	if err == nil {
		err = os.WriteFile(filepath.Join(to, "first-password"), b, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func port(addr string) string {
	for i := len(addr) - 1; i >= 0; i-- {
		if addr[i] == ':' {
			return addr[i+1:]
		}
	}
	return addr
}

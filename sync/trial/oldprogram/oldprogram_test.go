package oldprogram_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/sync/trial/programtest"
)

// old is one earlier program. The first of the list is always tried, the others
// with THUDBOOK_OLD.
type old struct{ commit, what string }

func olds() []old {
	return []old{
		{"f171401", "the first whole program: protocol 1 alone"},
		{"71892ca", "protocol 2"},
		{"8bb99a0", "compressed bodies, keys that change"},
		{"69889d7", "receipts shown in the hello"},
		{"e3fa387", "the newest kinds but two"},
	}
}

// build builds the program as of a commit.
func build(t *testing.T, o old) programtest.Program {
	t.Helper()
	git := func(args ...string) *exec.Cmd {
		cmd := exec.Command("git", args...)
		cmd.Env = append(os.Environ(), "GIT_OPTIONAL_LOCKS=0")
		return cmd
	}
	top, err := git("rev-parse", "--show-toplevel").Output()
	if err != nil || git("cat-file", "-e", o.commit+"^{commit}").Run() != nil {
		t.Skipf("the history of this checkout does not hold commit %s", o.commit)
	}
	dir := t.TempDir()
	archive := git("-C", strings.TrimSpace(string(top)), "archive", o.commit)
	unpack := exec.Command("tar", "-x", "-C", dir)
	if unpack.Stdin, err = archive.StdoutPipe(); err != nil {
		t.Fatal(err)
	}
	if err := unpack.Start(); err != nil {
		t.Fatal(err)
	}
	if err := archive.Run(); err != nil {
		t.Fatal(err)
	}
	if err := unpack.Wait(); err != nil {
		t.Fatal(err)
	}
	bin := filepath.Join(dir, "old-thudbook")
	make := exec.Command("go", "build", "-buildvcs=false", "-o", bin, "./cmd/thudbook")
	make.Dir = dir
	if out, err := make.CombinedOutput(); err != nil {
		t.Fatalf("build %s: %v\n%s", o.commit, err, out)
	}
	return programtest.Program{Path: bin}
}

// TestOldPrograms: an old agent hands over to today's server, its folder goes on
// under today's agent; today's agent hands over to an old server, whose folder
// goes on under today's server. Nothing is lost on the way, and today's program
// finds nothing wrong with any folder.
func TestOldPrograms(t *testing.T) {
	for i, o := range olds() {
		t.Run(o.commit+", "+o.what, func(t *testing.T) {
			if i > 0 && os.Getenv("THUDBOOK_OLD") == "" {
				t.Skip("make old-programs")
			}
			before := build(t, o)
			t.Run("old agent", func(t *testing.T) { play(t, before, programtest.Program{}, true) })
			t.Run("old server", func(t *testing.T) { play(t, programtest.Program{}, before, false) })
		})
	}
}

// play exchanges between an agent and a server, then updates the old one of the
// two over its folder, and goes on.
func play(t *testing.T, agent, server programtest.Program, agentIsOld bool) {
	s := server.StartServer(t)
	a := agent.StartAgent(t, "--server", s.URL(""), "--code", s.Code())
	posted := map[string][]byte{}
	post := func() {
		t.Helper()
		source := programtest.Shot(len(posted)+1, 300)
		posted[a.Post("shot.csv", source)] = source
	}
	arrived := func() {
		t.Helper()
		programtest.Wait(t, time.Minute, "every shot is on the server with its file", func() bool {
			if len(s.Shots()) != len(posted) {
				return false
			}
			for id, want := range posted {
				if !bytes.Equal(s.Source(id), want) {
					return false
				}
			}
			return a.Drained()
		})
	}
	post()
	post()
	arrived()
	var today programtest.Program
	if agentIsOld {
		s.Kill() // a shot waits while the program is replaced
		post()
		a.Stop()
		a.With()
		a.Again(today)
		s.Again()
	} else {
		s.Stop()
		post()
		s.Again(today)
	}
	post()
	arrived()
	a.Stop()
	s.Stop()
	bin, err := programtest.Built()
	if err != nil {
		t.Fatal(err)
	}
	for _, data := range []string{a.Data, s.Data} {
		if out, err := exec.Command(bin, "verify", "--data", data).CombinedOutput(); err != nil {
			t.Errorf("verify: %v\n%s", err, out)
		}
	}
}

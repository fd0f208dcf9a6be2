package main

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/sync/home"
	"thudbook/sync/trial/programtest"
)

// A kill at a place is aimed: the process is watched until it is there, goes on
// for a random while, is held, and is killed only if it is there still. What
// missed is tried again, with a shorter while each time.
const (
	aimTries = 60
	aimFor   = 60 * time.Second // of one try
)

// aimed is a running process that is to be killed at a place.
type aimed struct {
	proc  *os.Process
	there func() bool // it is at the place
	past  func() bool // it will not come there any more
}

// strike waits for the place and kills there; false: it was too late.
func (a aimed) strike(t *testing.T, rng *rand.Rand, try int) bool {
	t.Helper()
	for deadline := time.Now().Add(aimFor); !a.there(); {
		if a.past() {
			return false
		}
		if time.Now().After(deadline) {
			t.Fatalf("process %d did not come where it was to be killed in %v", a.proc.Pid, aimFor)
		}
		time.Sleep(200 * time.Microsecond)
	}
	time.Sleep(time.Duration(rng.IntN(30_000)>>min(try, 12)) * time.Microsecond) // the random instant itself
	if !hold(t, a.proc) {
		return false // it had ended
	}
	hit := a.there()
	if hit {
		_ = a.proc.Kill()
	}
	goOn(a.proc) // a held process dies of the kill at once; this is for one that missed
	return hit
}

// until tries a kill again until it hits its place, and counts.
func (w *killWorld) until(hits *int, try func(n int) bool) {
	w.t.Helper()
	for n := range aimTries {
		if w.t.Failed() {
			return
		}
		if try(n) {
			*hits++
			return
		}
		w.missed++
	}
	w.t.Errorf("%d kills in a row missed their place", aimTries)
}

// killStart kills agent and server once each after they have opened their
// folders and before they are ready.
func (w *killWorld) killStart(rng *rand.Rand) {
	w.agent.kill()
	w.server.kill()
	for _, args := range [][]string{
		{"server", "--data", w.serverData, "--listen", w.serverAddr},
		{"agent", "--data", w.agentData, "--watch", w.watch, "--listen", "127.0.0.1:0"},
	} {
		data := args[2]
		w.until(&w.inStart, func(n int) bool {
			ready := filepath.Join(w.t.TempDir(), "address")
			return strikeOwn(w.t, rng, n, append(args, "--listen-file", ready), func(pid int) bool {
				return holdsFile(pid, data) && !there(ready)
			}, func() bool { return there(ready) })
		})
	}
	w.server = start(w.t, "server", "--data", w.serverData, "--listen", w.serverAddr)
	w.startAgent()
}

// killCompact kills the compaction of the agent's store while the new file is
// beside the old one.
func (w *killWorld) killCompact(rng *rand.Rand) {
	w.agent.stop()
	w.until(&w.inCompact, func(n int) bool {
		before := beside(w.t, home.StorePath(w.agentData))
		return strikeOwn(w.t, rng, n, []string{"compact", "--data", w.agentData}, func(int) bool {
			for name := range beside(w.t, home.StorePath(w.agentData)) {
				if !before[name] {
					return true
				}
			}
			return false
		}, func() bool { return false })
	})
	w.startAgent()
}

// killUpload posts a shot with a source of several megabytes and kills one of
// the two while the server holds a part of it.
func (w *killWorld) killUpload(rng *rand.Rand, cycle int) {
	victim := w.agent
	if cycle%60 < 30 {
		victim = w.server
	}
	w.until(&w.inUpload, func(n int) bool {
		programtest.Wait(w.t, aimFor, "everything before is on the server", func() bool { return w.pendingBytes() == 0 })
		posted := make(chan bool, 1)
		shot := w.number()
		go func() { posted <- w.postBytes(shot, samples(shot, 150_000)) }()
		done, taken := false, false
		a := aimed{victim.Cmd.Process, func() bool { return underWay(w.t, w.serverData) }, func() bool {
			select {
			case taken = <-posted:
				done = true
			default:
			}
			return done && (!taken || w.pendingBytes() == 0)
		}}
		hit := a.strike(w.t, rng, n)
		if hit {
			victim.kill() // waits for its end
		}
		if !done {
			taken = <-posted
		}
		if !taken && !(hit && victim == w.agent) {
			w.t.Errorf("a large shot was not acknowledged\nagent: %s", w.agent.out)
		}
		return hit
	})
	if victim == w.agent {
		w.startAgent()
		return
	}
	w.server = start(w.t, "server", "--data", w.serverData, "--listen", w.serverAddr)
}

// strikeOwn starts the binary and strikes it; what missed is killed as well.
func strikeOwn(t *testing.T, rng *rand.Rand, try int, args []string, at func(pid int) bool, late func() bool) bool {
	t.Helper()
	bin, err := binary()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(bin, args...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() {
		_ = cmd.Wait() // how it ended stands in its state
		close(ended)
	}()
	gone := func() bool {
		select {
		case <-ended:
			return true
		default:
			return late()
		}
	}
	hit := aimed{cmd.Process, func() bool { return at(cmd.Process.Pid) }, gone}.strike(t, rng, try)
	_ = cmd.Process.Kill() // one that missed
	<-ended
	if code := cmd.ProcessState.ExitCode(); code > exitOK {
		t.Errorf("%s ended with %d by itself\n%s", args[0], code, out.String())
	}
	return hit
}

func there(path string) bool {
	fi, err := os.Stat(path)
	return err == nil && fi.Size() > 0
}

// beside gives the files whose names begin as a file's.
func beside(t *testing.T, path string) map[string]bool {
	t.Helper()
	all, err := filepath.Glob(path + ".*")
	if err != nil {
		t.Fatal(err)
	}
	names := map[string]bool{}
	for _, name := range all {
		names[name] = true
	}
	return names
}

// underWay tells whether a server holds a part of an attachment, but not the whole.
func underWay(t *testing.T, data string) bool {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(home.BlobPath(data), "part", "up-*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range all {
		if !strings.HasSuffix(path, ".note") && there(path) {
			return true
		}
	}
	return false
}

// pendingBytes asks the agent how much the server has not acknowledged.
func (w *killWorld) pendingBytes() int64 {
	w.t.Helper()
	res, err := http.Get(w.agent.url("/api/v1/sync"))
	w.must(err)
	defer res.Body.Close()
	var state struct {
		Bytes int64 `json:"pending_bytes"`
	}
	w.must(json.NewDecoder(res.Body).Decode(&state))
	return state.Bytes
}

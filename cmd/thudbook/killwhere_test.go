package main

import (
	"encoding/json"
	"math/rand/v2"
	"net/http"
	"path/filepath"
	"time"
)

// killStart kills agent and server once while they open their folders.
func (w *killWorld) killStart(rng *rand.Rand) {
	w.agent.kill()
	w.server.kill()
	for _, args := range [][]string{
		{"server", "--data", w.serverData, "--listen", w.serverAddr},
		{"agent", "--data", w.agentData, "--watch", w.watch, "--listen", "127.0.0.1:0"},
	} {
		ready := filepath.Join(w.t.TempDir(), "address")
		if runAndKill(w.t, time.Duration(rng.IntN(80_000))*time.Microsecond, append(args, "--listen-file", ready)...) {
			w.inStart++
		}
	}
	w.server = start(w.t, "server", "--data", w.serverData, "--listen", w.serverAddr)
	w.startAgent()
}

// killUpload posts a shot with a source of several megabytes and kills one of
// the two while it goes to the server.
func (w *killWorld) killUpload(rng *rand.Rand, cycle int) {
	n := w.number()
	if !w.postBytes(n, samples(n, 150_000)) {
		w.t.Errorf("a large shot was not acknowledged\nagent: %s", w.agent.out)
		return
	}
	deadline := time.Now().Add(20 * time.Second)
	for w.pendingBytes() == 0 && time.Now().Before(deadline) { // seen as pending as soon as it is recorded
		time.Sleep(time.Millisecond)
	}
	time.Sleep(time.Duration(rng.IntN(40_000)) * time.Microsecond) // the random instant itself
	if w.pendingBytes() > 0 {
		w.inUpload++
	}
	if cycle%60 < 30 {
		w.server.kill()
		w.server = start(w.t, "server", "--data", w.serverData, "--listen", w.serverAddr)
		return
	}
	w.agent.kill()
	w.startAgent()
}

// killCompact kills the compaction of the agent's store.
func (w *killWorld) killCompact(rng *rand.Rand) {
	w.agent.stop()
	if runAndKill(w.t, time.Duration(rng.IntN(60_000))*time.Microsecond, "compact", "--data", w.agentData) {
		w.inCompact++
	}
	w.startAgent()
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

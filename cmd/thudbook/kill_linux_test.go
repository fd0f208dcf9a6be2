package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"
)

// killCycles is how often the loop kills a process; THUDBOOK_KILL_CYCLES sets another number.
func killCycles(t *testing.T) int {
	s := os.Getenv("THUDBOOK_KILL_CYCLES")
	if s == "" {
		return 100
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		t.Fatalf("THUDBOOK_KILL_CYCLES=%q is not a number of cycles", s)
	}
	return n
}

// killSeed is the seed of the random instants; THUDBOOK_KILL_SEED sets one, to go
// through a run again.
func killSeed(t *testing.T) uint64 {
	s := os.Getenv("THUDBOOK_KILL_SEED")
	if s == "" {
		return uint64(time.Now().UnixNano())
	}
	n, err := strconv.ParseUint(s, 10, 64)
	if err != nil {
		t.Fatalf("THUDBOOK_KILL_SEED=%q is not a whole number", s)
	}
	return n
}

// TestKillLoop kills the agent or the server, as a power cut would, at random
// instants after the first acknowledgement of each cycle. At the end every shot
// that was acknowledged is on the server exactly once, and every file of the
// watched folder too (invariants I1, I2, I4).
func TestKillLoop(t *testing.T) {
	seed := killSeed(t)
	rng := rand.New(rand.NewPCG(seed, 1))
	t.Logf("THUDBOOK_KILL_SEED=%d", seed)
	dir := t.TempDir()
	watch := filepath.Join(dir, "watch")
	if err := os.Mkdir(watch, 0o755); err != nil {
		t.Fatal(err)
	}
	w := newKillWorld(t, dir, watch)
	cycles := killCycles(t)
	for cycle := range cycles {
		switch { // a tenth of the kills go where less happens, but more can go wrong
		case cycle%10 != 9:
			w.cycle(rng, cycle)
		case cycle%30 == 9:
			w.killStart(rng)
		case cycle%30 == 19:
			w.killUpload(rng, cycle)
		default:
			w.killCompact(rng)
		}
		if t.Failed() {
			t.Fatalf("stopped in cycle %d of %d", cycle, cycles)
		}
	}
	w.settle()
	w.checkServer()
	w.agent.stop()
	w.server.stop()
	for _, data := range []string{w.agentData, w.serverData} {
		if out, errOut, code := thudbook(t.Context(), t, "verify", "--data", data); code != exitOK {
			t.Errorf("verify of %s gave exit code %d\n%s%s", data, code, out, errOut)
		}
	}
	t.Logf("%d cycles, %d shots acknowledged, %d files in the watched folder; killed in start-up %d, in an upload %d, in compaction %d; %d kills missed such a place and were tried again",
		cycles, len(w.acked), w.files, w.inStart, w.inUpload, w.inCompact, w.missed)
	if hit := w.inStart + w.inUpload + w.inCompact; hit < cycles/10 {
		t.Errorf("%d of %d cycles ended a process in start-up, in an upload or in compaction: less than a tenth", hit, cycles)
	}
	for place, hit := range map[string]int{"in start-up": w.inStart, "in an upload": w.inUpload, "in compaction": w.inCompact} {
		if hit < cycles/30 {
			t.Errorf("%d kills %s in %d cycles", hit, place, cycles)
		}
	}
	if len(w.acked) < cycles {
		t.Errorf("only %d shots were acknowledged in %d cycles: the loop proves too little", len(w.acked), cycles)
	}
}

// killWorld is a server and an agent that are killed and started again over the
// same folders and ports.
type killWorld struct {
	t                     *testing.T
	agentData, serverData string
	watch                 string
	server, agent         *process
	serverAddr            string
	client                *demoClient
	lab                   string
	password              string

	mu    sync.Mutex
	acked map[string]bool
	sent  int
	files int

	inStart, inUpload, inCompact int // kills that came at such a place
	missed                       int // that were too early or too late for it
}

func newKillWorld(t *testing.T, dir, watch string) *killWorld {
	w := &killWorld{t: t, agentData: filepath.Join(dir, "agent"), serverData: filepath.Join(dir, "server"), watch: watch, acked: map[string]bool{}}
	w.server = start(t, "server", "--data", w.serverData, "--listen", "127.0.0.1:0")
	w.serverAddr = w.server.addr
	b, err := os.ReadFile(filepath.Join(w.serverData, "first-password"))
	if err != nil {
		t.Fatal(err)
	}
	w.password = string(bytes.TrimSpace(b))
	w.signIn()
	var made idAnswer
	w.must(w.client.post(t.Context(), "/api/v1/labs", map[string]string{"name": "kill loop"}, &made))
	w.lab = made.ID.String()
	var code struct {
		Code string `json:"code"`
	}
	w.must(w.client.post(t.Context(), "/api/v1/labs/"+w.lab+"/codes", map[string]string{"name": "rig"}, &code))
	w.startAgent("--server", w.server.url(""), "--code", code.Code)
	return w
}

func (w *killWorld) must(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

func (w *killWorld) signIn() {
	c, err := signIn(w.t.Context(), "http://"+w.serverAddr, "admin", w.password)
	w.must(err)
	w.client = c
}

func (w *killWorld) startAgent(more ...string) {
	args := []string{"agent", "--data", w.agentData, "--watch", w.watch, "--listen", "127.0.0.1:0", "--sync-every", "50ms"}
	w.agent = start(w.t, append(args, more...)...)
}

// cycle posts shots and drops files, kills one of the two at a random instant
// after the first acknowledgement, and starts it again.
func (w *killWorld) cycle(rng *rand.Rand, n int) {
	w.dropFile(n)
	first := make(chan struct{})
	var once sync.Once
	stop := make(chan struct{})
	var posts sync.WaitGroup
	for range 2 {
		posts.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				if w.post() {
					once.Do(func() { close(first) })
				}
			}
		})
	}
	select {
	case <-first:
	case <-time.After(20 * time.Second):
		w.t.Errorf("no shot was acknowledged in 20 s\nagent: %s", w.agent.out)
	}
	time.Sleep(time.Duration(rng.IntN(40_000)) * time.Microsecond) // the random instant itself
	killServer := n%3 == 2
	if killServer {
		w.server.kill()
	} else {
		w.agent.kill()
	}
	close(stop)
	posts.Wait()
	if killServer {
		w.server = start(w.t, "server", "--data", w.serverData, "--listen", w.serverAddr)
	} else {
		w.startAgent()
	}
}

func (w *killWorld) number() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.sent++
	return w.sent
}

// dropFile puts a finished file into the watched folder.
func (w *killWorld) dropFile(n int) {
	part := filepath.Join(w.watch, fmt.Sprintf(".file-%04d.part", n))
	w.must(os.WriteFile(part, shotBytes(500_000+n), 0o644))
	w.must(os.Rename(part, filepath.Join(w.watch, fmt.Sprintf("file-%04d.csv", n))))
	w.files++
}

// post sends one shot and remembers it when it was acknowledged.
func (w *killWorld) post() bool {
	n := w.number()
	return w.postBytes(n, shotBytes(n))
}

func (w *killWorld) postBytes(n int, source []byte) bool {
	var form bytes.Buffer
	m := multipart.NewWriter(&form)
	part, err := m.CreateFormFile("file", fmt.Sprintf("post-%06d.csv", n))
	if err == nil {
		_, err = part.Write(source)
	}
	if err == nil {
		err = m.WriteField("meta", `{"specimen":"K-1","location":"front","target_speed_m_s":5.5,"kind":"shot"}`)
	}
	if err != nil || m.Close() != nil {
		w.t.Errorf("building the form: %v", err)
		return false
	}
	res, err := http.Post(w.agent.url("/api/v1/shots"), m.FormDataContentType(), &form)
	if err != nil {
		return false // the agent was killed
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		return false
	}
	if res.StatusCode != http.StatusCreated {
		w.t.Errorf("post answered %s: %s", res.Status, b)
		return false
	}
	var made struct {
		ID string `json:"id"`
	}
	if err := json.Unmarshal(b, &made); err != nil || made.ID == "" {
		w.t.Errorf("201 without an id: %s", b)
		return false
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.acked[made.ID] {
		w.t.Errorf("id %s was given to two different files", made.ID)
	}
	w.acked[made.ID] = true
	return true
}

// settle waits until the agent has taken in every file and the server has acknowledged all.
func (w *killWorld) settle() {
	w.signIn()
	deadline := time.Now().Add(90 * time.Second)
	for {
		have := w.serverShots()
		missing := 0
		for id := range w.acked {
			if len(have[id]) == 0 {
				missing++
			}
		}
		if missing == 0 && w.filesOn(have) == w.files {
			return
		}
		if time.Now().After(deadline) {
			w.t.Errorf("after 90 s %d acknowledged shots and %d files are not on the server\nagent: %s", missing, w.files-w.filesOn(have), w.agent.out)
			return
		}
		time.Sleep(200 * time.Millisecond)
	}
}

// serverShots lists all shots of the server: file names by id.
func (w *killWorld) serverShots() map[string][]string {
	all := map[string][]string{}
	next := "/api/v1/shots?limit=500&lab=" + w.lab
	for next != "" {
		var page struct {
			Shots []struct {
				ID   string `json:"id"`
				File string `json:"file"`
			} `json:"shots"`
			Next string `json:"next"`
		}
		w.must(w.client.get(w.t.Context(), next, &page))
		for _, s := range page.Shots {
			all[s.ID] = append(all[s.ID], s.File)
		}
		next = page.Next
	}
	return all
}

func (w *killWorld) filesOn(have map[string][]string) int {
	names := map[string]bool{}
	for _, n := range have {
		for _, f := range n {
			if len(f) > 5 && f[:5] == "file-" {
				names[f] = true
			}
		}
	}
	return len(names)
}

// checkServer looks for doubles: an id listed twice, or a file name under two ids.
func (w *killWorld) checkServer() {
	ids := map[string]string{}
	have := w.serverShots()
	for _, id := range slices.Sorted(maps.Keys(have)) {
		if len(have[id]) != 1 {
			w.t.Errorf("shot %s is listed %d times", id, len(have[id]))
		}
		for _, f := range have[id] {
			if other, twice := ids[f]; twice {
				w.t.Errorf("file %s became two shots: %s and %s", f, other, id)
			}
			ids[f] = id
		}
	}
}

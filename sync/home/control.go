package home

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"thudbook/sync/care"
	"thudbook/sync/durable"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
)

// A running node holds its store alone, so the commands that look after a data
// folder ask it. It listens on a loopback port of its own and writes address and
// a random token into this file, which only the owner of the folder may read:
// whoever can read it could read the node's key as well.
const (
	controlName = "control.json"
	copyPrefix  = "thudbook-copy-" // folders that a snapshot lies in
)

// controlFile is what the file says.
type controlFile struct {
	Address string    `json:"address"`
	Token   string    `json:"token"`
	PID     int       `json:"pid"`
	Started time.Time `json:"started"`
}

// control is the running node's side.
type control struct {
	home   *Home
	opts   Options
	file   controlFile
	server *http.Server
	ended  chan struct{}
	stop   context.CancelFunc
	log    *slog.Logger
	one    sync.Mutex // a backup at a time

	mu     sync.RWMutex // requests hold it for reading
	closed bool
}

// openControl starts to listen. A node works without it: what hinders it is logged.
func openControl(h *Home, o Options) *control {
	c := &control{home: h, opts: o, log: o.Log, ended: make(chan struct{})}
	if c.log == nil {
		c.log = slog.New(slog.DiscardHandler)
	}
	if c.opts.Now == nil {
		c.opts.Now = time.Now
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		c.log.Warn("backup and verify cannot reach this process", "error", err)
		close(c.ended)
		return c
	}
	c.file = controlFile{Address: l.Addr().String(), Token: rand.Text() + rand.Text(), PID: os.Getpid(), Started: time.Now().UTC()}
	base, stop := context.WithCancel(context.Background())
	c.stop = stop
	mux := http.NewServeMux()
	mux.HandleFunc("POST /v1/backup", c.allowed(c.backup))
	mux.HandleFunc("POST /v1/snapshot", c.allowed(c.snapshot))
	mux.HandleFunc("GET /v1/doctor", c.allowed(c.doctor))
	mux.HandleFunc("POST /v1/order/{name}", c.allowed(c.order))
	mux.HandleFunc("GET /v1/ping", c.allowed(func(http.ResponseWriter, *http.Request) (any, error) { return c.file.PID, nil }))
	c.server = &http.Server{Handler: mux, ReadHeaderTimeout: 10 * time.Second, BaseContext: func(net.Listener) context.Context { return base },
		ErrorLog: slog.NewLogLogger(c.log.Handler(), slog.LevelDebug)}
	go func() { // ends with close
		defer close(c.ended)
		if err := c.server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			c.log.Warn("backup and verify cannot reach this process any more", "error", err)
		}
	}()
	b, err := json.Marshal(c.file)
	if err == nil {
		err = durable.Replace(filepath.Join(h.Dir, controlName), b)
	}
	if err != nil {
		c.log.Warn("backup and verify cannot reach this process", "error", err)
	}
	return c
}

func (c *control) close() error {
	if c == nil || c.server == nil {
		return nil
	}
	c.stop()
	err := c.server.Close()
	<-c.ended
	c.mu.Lock() // what runs has lost its context and ends
	c.closed = true
	c.mu.Unlock()
	if e := os.Remove(filepath.Join(c.home.Dir, controlName)); e != nil && !errors.Is(e, os.ErrNotExist) {
		err = errors.Join(err, e)
	}
	return err
}

// answer is what comes back, one of the two.
type answer struct {
	Result any             `json:"result,omitempty"`
	Error  *controlProblem `json:"error,omitempty"`
}

type controlProblem struct {
	Code  problem.Code `json:"code"`
	What  string       `json:"what"`
	Where string       `json:"where,omitempty"`
	Fix   string       `json:"fix,omitempty"`
	Cause string       `json:"cause,omitempty"`
}

// allowed lets through who knows the token.
func (c *control) allowed(do func(http.ResponseWriter, *http.Request) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		c.mu.RLock()
		defer c.mu.RUnlock()
		if c.closed {
			http.Error(w, "the process is ending", http.StatusServiceUnavailable)
			return
		}
		if subtle.ConstantTimeCompare([]byte(r.Header.Get("Authorization")), []byte("Bearer "+c.file.Token)) != 1 {
			http.Error(w, "the token is not the one in "+controlName, http.StatusForbidden)
			return
		}
		var a answer
		res, err := do(w, r)
		if err == nil {
			a.Result = res
		} else {
			a.Error = &controlProblem{Code: problem.Of(err), What: err.Error()}
			if p, ok := problem.As(err); ok {
				a.Error.What, a.Error.Where, a.Error.Fix = p.What, p.Where, p.Fix
				if p.Err != nil {
					a.Error.Cause = p.Err.Error()
				}
			}
		}
		w.Header().Set("Content-Type", "application/json")
		if err := json.NewEncoder(w).Encode(a); err != nil {
			c.log.Debug("an answer was not taken", "error", err)
		}
	}
}

// where reads which path a request is about.
func where(w http.ResponseWriter, r *http.Request) (string, error) {
	var q struct {
		To string `json:"to"`
	}
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, 64<<10)).Decode(&q); err != nil {
		return "", err
	}
	if !filepath.IsAbs(q.To) {
		return "", problem.New(problem.Invalid, "the path is not absolute: "+q.To, "give it from the root")
	}
	return q.To, nil
}

func (c *control) backup(w http.ResponseWriter, r *http.Request) (any, error) {
	to, err := where(w, r)
	if err != nil {
		return nil, err
	}
	if !c.one.TryLock() {
		return nil, problem.New(problem.Conflict, "another backup of this node is running", "wait for its end")
	}
	defer c.one.Unlock()
	h := c.home
	rep, err := backup(r.Context(), care.Node{ID: h.Node.ID, Dir: h.Dir, Store: h.Store, Blobs: h.Blobs, Software: c.opts.Software, Now: c.opts.Now}, to)
	if err != nil {
		c.log.Warn("backup failed", "to", to, "error", err)
		return nil, err
	}
	c.log.Info("backup", "to", to, "run", rep.Manifest.Run, "records", rep.Manifest.Records)
	rep.Manifest.Chunks = nil // not for people
	return rep, nil
}

// snapshot copies anchor and store into a new folder, in this order: the anchor
// is then never ahead of the store.
func (c *control) snapshot(_ http.ResponseWriter, r *http.Request) (any, error) {
	h := c.home
	sweepCopies(h.Dir)
	free, err := DiskFree(h.Dir)
	if err != nil {
		return nil, err
	}
	if need := h.Store.Stats().FileBytes + 64<<20; free < need {
		return nil, problem.New(problem.Unavailable, fmt.Sprintf("a copy of the store needs %d MB, the disk has %d MB free", need>>20, free>>20), "free space, or stop the node and verify then")
	}
	dir, err := os.MkdirTemp(h.Dir, copyPrefix)
	if err != nil {
		return nil, err
	}
	if err := c.copyInto(r.Context(), dir); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	return filepath.Abs(dir)
}

func (c *control) copyInto(ctx context.Context, dir string) error {
	h := c.home
	a, err := os.ReadFile(ledger.DefaultAnchor(h.Dir))
	if err != nil {
		return err
	}
	if err := os.WriteFile(ledger.DefaultAnchor(dir), a, 0o600); err != nil {
		return err
	}
	f, err := os.OpenFile(StorePath(dir), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	return errors.Join(h.Store.Snapshot(ctx, f, nil), f.Close())
}

// sweepCopies removes copies that a verify which was killed left behind.
func sweepCopies(dir string) {
	old, err := filepath.Glob(filepath.Join(dir, copyPrefix+"*"))
	if err != nil {
		return
	}
	for _, p := range old {
		if fi, err := os.Lstat(p); err == nil && fi.IsDir() && time.Since(fi.ModTime()) > 24*time.Hour {
			_ = os.RemoveAll(p) // it stays for the next time
		}
	}
}

func (c *control) doctor(_ http.ResponseWriter, r *http.Request) (any, error) {
	h := c.home
	p := examination{dir: h.Dir, id: h.Node.ID, store: h.Store, blobs: h.Blobs, now: c.opts.Now(), running: os.Getpid(), faulted: h.Ledger.Faulted()}
	return p.run(r.Context())
}

// Running is a process that has a data folder open and answers.
type Running struct {
	Dir  string
	PID  int
	file controlFile
}

// FindRunning gives the process that has a folder open, nil if none answers.
func FindRunning(ctx context.Context, dir string) *Running {
	b, err := os.ReadFile(filepath.Join(dir, controlName))
	if err != nil {
		return nil
	}
	r := &Running{Dir: dir}
	if json.Unmarshal(b, &r.file) != nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	if r.ask(ctx, http.MethodGet, "/v1/ping", "", &r.PID) != nil {
		return nil // it was killed, or its file is from another machine
	}
	return r
}

// Backup has the process back itself up.
func (r *Running) Backup(ctx context.Context, to string) (*care.BackupReport, error) {
	var rep care.BackupReport
	return &rep, r.ask(ctx, http.MethodPost, "/v1/backup", to, &rep)
}

// Snapshot has the process copy its store and anchor into a folder, which the
// caller removes.
func (r *Running) Snapshot(ctx context.Context) (dir string, err error) {
	err = r.ask(ctx, http.MethodPost, "/v1/snapshot", "", &dir)
	return dir, err
}

// Examine has the process examine itself.
func (r *Running) Examine(ctx context.Context) (*Examined, error) {
	var e Examined
	return &e, r.ask(ctx, http.MethodGet, "/v1/doctor", "", &e)
}

func (r *Running) ask(ctx context.Context, method, path, to string, into any) error {
	return r.send(ctx, method, path, map[string]string{"to": to}, into)
}

func (r *Running) send(ctx context.Context, method, path string, words map[string]string, into any) error {
	body, err := json.Marshal(words)
	if err != nil {
		return err
	}
	req, err := http.NewRequestWithContext(ctx, method, "http://"+r.file.Address+path, bytes.NewReader(body))
	if err != nil {
		return err
	}
	req.Header.Set("Authorization", "Bearer "+r.file.Token)
	client := &http.Client{Transport: &http.Transport{Proxy: nil, DisableKeepAlives: true}}
	res, err := client.Do(req)
	if err != nil {
		return &problem.Error{Code: problem.Unavailable, What: "the running process ended, or does not answer", Where: r.Dir, Fix: "see its log, and try again", Err: err}
	}
	defer res.Body.Close()
	var a struct {
		Result json.RawMessage `json:"result"`
		Error  *controlProblem `json:"error"`
	}
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("the running process answered %s", res.Status)
	}
	if err := json.NewDecoder(res.Body).Decode(&a); err != nil {
		return &problem.Error{Code: problem.Unavailable, What: "the running process ended before it was done", Where: r.Dir, Fix: "see its log, and try again", Err: err}
	}
	if e := a.Error; e != nil {
		p := &problem.Error{Code: e.Code, What: e.What, Where: e.Where, Fix: e.Fix}
		if e.Cause != "" {
			p.Err = errors.New(e.Cause)
		}
		return p
	}
	return json.Unmarshal(a.Result, into)
}

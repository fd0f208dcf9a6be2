// Package boltkv keeps tables in one bbolt file: the default embedded store.
//
// Writes go through a committer of our own: one goroutine commits whatever has
// queued while the last commit ran, and never waits for company. After a commit
// error the outcome is unknown (bbolt may show, and may have made durable, what
// it reported as failed), so the handle then refuses everything until Reopen.
package boltkv

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	bolt "go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
)

var (
	_ kv.Store    = (*Store)(nil)
	_ kv.Reopener = (*Store)(nil)
)

// slowRead is how long a read transaction may last before it is reported: an
// open reader keeps bbolt from reusing pages.
const slowRead = time.Second

// Options of a store. The zero value is the one to use.
type Options struct {
	// Ordered names tables whose keys arrive in ascending order; their pages
	// are filled to nine tenths instead of half.
	Ordered []kv.Table
	// MaxSize refuses growth of the file beyond so many bytes; 0 is no limit.
	MaxSize int
	// AnyFileSystem skips the check that refuses network file systems, on
	// which locks and memory maps cannot be trusted.
	AnyFileSystem bool
	// ReadOnly opens an existing file for reading alone, which needs no right to
	// write and leaves the file as it is. Several may do so at once, none while
	// another process has the store open to write.
	ReadOnly bool
	// Log is told of slow readers; nil for none.
	Log *slog.Logger
}

// Store is one bbolt file. It is safe for concurrent use.
type Store struct {
	path    string
	opts    Options
	ordered map[kv.Table]bool
	log     *slog.Logger

	mu     sync.RWMutex // held for reading by every transaction
	db     *bolt.DB     // nil when closed, or when it could not be opened again
	closed bool
	bad    atomic.Pointer[error]

	queue chan *request
	stop  chan struct{} // closed by Close
	done  chan struct{} // closed when the committer has ended
	once  sync.Once

	oldest  readers
	commits atomic.Int64
	failed  atomic.Int64
}

// Open opens the store at path, or creates it: under another name first, then
// renamed, so that no half-made file ever stands at path. Errors: kv.ErrLocked
// when another process holds it, a problem with code damaged when its bytes
// cannot be used; nothing is ever removed or changed then.
func Open(path string, opts Options) (*Store, error) {
	if strconv.IntSize < 64 {
		return nil, problem.New(problem.Unavailable, "the store needs a 64-bit system", "run the 64-bit build")
	}
	s := &Store{
		path: path, opts: opts, ordered: make(map[kv.Table]bool), log: opts.Log,
		queue: make(chan *request), stop: make(chan struct{}), done: make(chan struct{}),
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	for _, t := range opts.Ordered {
		s.ordered[t] = true
	}
	if !opts.AnyFileSystem {
		if err := refuseNetwork(path); err != nil {
			return nil, err
		}
	}
	if !opts.ReadOnly {
		if err := createMissing(path); err != nil {
			return nil, fmt.Errorf("create store: %w", err)
		}
	}
	db, err := open(path, opts)
	if err != nil {
		return nil, err
	}
	s.db = db
	go s.commitLoop() // ends with Close, which waits for it
	return s, nil
}

// open gives the one set of bbolt options and turns what bbolt throws at
// damaged files into problems.
func open(path string, opts Options) (db *bolt.DB, err error) {
	defer catchFaults()()
	defer recoverDamage(path, &err)
	var held *os.File // what bbolt has locked
	o := &bolt.Options{
		Timeout:      2 * time.Second,
		FreelistType: bolt.FreelistMapType,
		MaxSize:      opts.MaxSize,
		ReadOnly:     opts.ReadOnly,
		OpenFile: func(name string, flag int, mode os.FileMode) (*os.File, error) {
			f, err := os.OpenFile(name, flag&^os.O_CREATE, mode) // a lost file must not become an empty store
			held = f
			return f, err
		},
	}
	if runtime.GOOS != "windows" { // there it would be the size of the file
		o.InitialMmapSize = 8 << 30 // address space, not memory
	}
	if fi, err := os.Stat(path); err == nil && fi.Size() == 0 {
		// bbolt would make a fresh store of it and hide the loss.
		return nil, damaged(path, errors.New("the file is empty"))
	}
	db, err = bolt.Open(path, 0o600, o)
	switch {
	case err == nil:
		if !same(held, path) {
			// Compact gave the name to another file while the lock was waited for.
			return nil, &problem.Error{Code: problem.Unavailable, What: "the store was replaced while it was opened", Where: path,
				Fix: "start again", Err: errors.Join(kv.ErrLocked, db.Close())}
		}
		if err := checkFormat(db); err != nil {
			return nil, damaged(path, errors.Join(err, db.Close()))
		}
		return db, nil
	case errors.Is(err, berrors.ErrTimeout):
		return nil, &problem.Error{Code: problem.Unavailable, What: "another process holds the store", Where: path,
			Fix: "stop the agent or server that uses it, or ask that one instead", Err: kv.ErrLocked}
	case fromSystem(err):
		return nil, &problem.Error{Code: problem.Unavailable, What: "the store cannot be opened", Where: path,
			Fix: "check that the folder is there, writable and not full", Err: err}
	default: // bbolt found no two good meta pages, too short a file, or another format
		return nil, damaged(path, err)
	}
}

// same tells whether the name still stands for the open file.
func same(f *os.File, path string) bool {
	if f == nil {
		return false
	}
	a, err1 := f.Stat()
	b, err2 := os.Stat(path)
	return err1 == nil && err2 == nil && os.SameFile(a, b)
}

// fromSystem tells an error of the operating system from one about the bytes.
func fromSystem(err error) bool {
	if _, ok := errors.AsType[syscall.Errno](err); ok {
		return true
	}
	_, ok := errors.AsType[*fs.PathError](err)
	return ok
}

// Path gives the file's path.
func (s *Store) Path() string { return s.path }

// View runs fn on a snapshot. Keep it short: no network, template or user
// inside. An end of ctx is noticed before fn starts, not within.
func (s *Store) View(ctx context.Context, fn func(kv.Reader) error) (err error) {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	if err := s.usable(); err != nil {
		return err
	}
	defer catchFaults()()
	defer recoverDamage(s.path, &err)
	btx, err := s.db.Begin(false)
	if err != nil {
		return fmt.Errorf("begin reading: %w", err)
	}
	id := s.oldest.enter()
	t := newTx(btx, s)
	defer func() {
		t.done = true
		if took := s.oldest.leave(id); took > slowRead {
			s.log.Warn("slow read transaction", "seconds", took.Seconds())
		}
		err = errors.Join(err, btx.Rollback())
	}()
	return fn(t)
}

// Close waits for running transactions and closes the file.
func (s *Store) Close() error {
	s.once.Do(func() { close(s.stop) })
	<-s.done
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	if s.db == nil {
		return nil
	}
	db := s.db
	s.db = nil
	if err := db.Close(); err != nil {
		return fmt.Errorf("close store %s: %w", s.path, err)
	}
	return nil
}

// Reopen closes the file and opens it again, which ends the state after a
// commit whose outcome is unknown. What the store then holds is what counts.
// Where the file cannot be opened now, the store stays stopped, and Reopen may
// be called again.
func (s *Store) Reopen(context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return errClosed(s.path)
	}
	if s.db != nil {
		if err := s.db.Close(); err != nil { // bbolt lets go of the file all the same
			s.log.Warn("the stopped store did not close well", "path", s.path, "error", err)
		}
		s.db = nil
	}
	db, err := open(s.path, s.opts)
	if err != nil {
		s.fault(err)
		return err
	}
	s.db = db
	s.bad.Store(nil)
	return nil
}

// Stopped is nil, or the failed commit after which everything is refused.
func (s *Store) Stopped() error {
	if cause := s.bad.Load(); cause != nil {
		return *cause
	}
	return nil
}

// usable tells why the store takes no transactions, nil if it does.
func (s *Store) usable() error {
	if s.closed {
		return errClosed(s.path)
	}
	if cause := s.bad.Load(); cause != nil {
		return &problem.Error{Code: problem.Unavailable, What: "the store stopped after a failed commit", Where: s.path,
			Fix: "free space or mend the disk, then open it again", Err: *cause}
	}
	return nil
}

func errClosed(path string) error {
	return &problem.Error{Code: problem.Unavailable, What: "the store is closed", Where: path, Fix: "open it again"}
}

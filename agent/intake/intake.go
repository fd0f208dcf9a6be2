package intake

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/blob"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// What holds where Options say nothing else.
const (
	DefaultLimit    = 1 << 30   // bytes of one acquisition file
	DefaultReserve  = 512 << 20 // bytes of the disk that are left free
	defaultPoll     = time.Second
	defaultMetaWait = 500 * time.Millisecond
	retryAfter      = 2 * time.Second
)

// Folder is one folder to watch.
type Folder struct {
	Dir string
	Map string // channel map; empty: map.toml in the folder, else channels are guessed
}

// Options say where shots come from and where they go. Ledger, Store, Blobs,
// Views, Lab, Rig, Data and Log are required; the rest has useful zero values.
type Options struct {
	Ledger *ledger.Ledger
	Store  kv.Store
	Blobs  blob.Store
	Views  *view.Set
	Lab    func() record.LabID // that shots are written for; may change when the agent is enrolled
	Rig    uuid.UUID
	Data   string // folder of the store, whose disk is watched

	Folders    []Folder
	DefaultMap string        // channel map of posts without one; empty: that of the first folder
	Limit      int64         // bytes of one file
	Reserve    int64         // bytes left free; negative: none
	Poll       time.Duration // between looks at a folder
	MetaWait   time.Duration // that a finished file waits for its meta file
	Stale      time.Duration // after which a file that never satisfies its rule is taken in
	Now        func() time.Time
	Counted    func() time.Duration // a clock that nobody sets; nil: the computer's, unless Now is given
	Log        *slog.Logger
	Author     func(context.Context) string // who is signed in at the rig; nil or "": nobody
	Trouble    func() error                 // why the store cannot be written now; nil: what the ledger says
	Recorded   func()                       // told after records were written
	Taken      func(kind string)            // told of each shot taken in
}

// Counts are what happened since the start.
type Counts struct {
	Taken, Partly, Known, SeenAgain, Quarantined, Refused int64
	Scoring                                               time.Duration // spent in reading and scoring files
}

// Intake takes shots in. Its methods may be called from several goroutines.
type Intake struct {
	opt     Options
	changed chan struct{} // told when other folders are to be watched
	slots   chan struct{} // bounds how many files are read and scored at once

	taken, partly, known, again, quarantined, refused, scoringNS atomic.Int64

	clock ClockSteps // of this computer

	mu       sync.Mutex
	folders  []*folder
	mapBlobs map[record.Hash]record.Attachment // maps that are durable already
	damage   error                             // that the last write met; nil after one that went well
	unsaved  unsaved
}

// New checks the options; it touches neither folders nor store.
func New(o Options) (*Intake, error) {
	if o.Ledger == nil || o.Store == nil || o.Blobs == nil || o.Views == nil || o.Lab == nil || o.Data == "" || o.Rig == uuid.Nil {
		return nil, errors.New("intake: ledger, store, blobs, views, lab, rig and data folder are required")
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	switch {
	case o.Counted != nil:
	case o.Now == nil:
		o.Counted = counter()
	default: // a clock that is none of the computer's is not held against the computer's
		start, now := o.Now(), o.Now
		o.Counted = func() time.Duration { return now().Sub(start) }
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Trouble == nil {
		o.Trouble = o.Ledger.Faulted
	}
	o.Limit = orDefault(o.Limit, DefaultLimit)
	o.Reserve = orDefault(o.Reserve, DefaultReserve)
	o.Poll = orDefault(o.Poll, defaultPoll)
	o.MetaWait = orDefault(o.MetaWait, defaultMetaWait)
	in := &Intake{opt: o, slots: make(chan struct{}, max(2, runtime.GOMAXPROCS(0))),
		mapBlobs: map[record.Hash]record.Attachment{}, changed: make(chan struct{}, 1)}
	folders, err := in.follow(o.Folders)
	if err != nil {
		return nil, err
	}
	in.folders = folders
	in.LookAtClock()
	return in, nil
}

// Run watches the folders until ctx ends. While the store cannot be written the
// files wait, and are taken in when it was opened again.
func (in *Intake) Run(ctx context.Context) error {
	in.watch(ctx)
	return nil
}

// Folders gives the state of each watched folder.
func (in *Intake) Folders() []FolderState {
	folders := in.watched()
	out := make([]FolderState, len(folders))
	for i, f := range folders {
		out[i] = f.State()
	}
	return out
}

// Counts gives what happened since the start.
func (in *Intake) Counts() Counts {
	return Counts{in.taken.Load(), in.partly.Load(), in.known.Load(), in.again.Load(), in.quarantined.Load(), in.refused.Load(), time.Duration(in.scoringNS.Load())}
}

// Trouble tells why nothing is taken in now: the store cannot be written, or the
// last write met damage. nil when all is well.
func (in *Intake) Trouble() error {
	if err := in.opt.Trouble(); err != nil {
		return err
	}
	in.mu.Lock()
	defer in.mu.Unlock()
	return in.damage
}

// met keeps the damage that a write met, for the screen; nil after a good write.
func (in *Intake) met(damage error) {
	in.mu.Lock()
	defer in.mu.Unlock()
	in.damage = damage
}

func (in *Intake) recorded() {
	if in.opt.Recorded != nil {
		in.opt.Recorded()
	}
}

// Room tells whether size more bytes may be written; the problem says in words
// why not.
func (in *Intake) Room(size int64) error {
	if in.opt.Reserve < 0 {
		return nil
	}
	free, err := DiskFree(in.opt.Data)
	if err != nil {
		return &problem.Error{Code: problem.Unavailable, What: "The free space of the disk cannot be found out.",
			Where: in.opt.Data, Fix: "Check that the data folder is there and may be read.", Err: err}
	}
	if free-size >= in.opt.Reserve {
		return nil
	}
	return problem.New(problem.Unavailable,
		fmt.Sprintf("The disk is nearly full: %d MB are free, and %d MB are kept in reserve. Nothing is taken in.", free>>20, in.opt.Reserve>>20),
		"Free some space on the disk of "+in.opt.Data+". The files wait where they are, and taking in goes on by itself.")
}

func orDefault[T int64 | time.Duration](v, def T) T {
	if v == 0 {
		return def
	}
	return v
}

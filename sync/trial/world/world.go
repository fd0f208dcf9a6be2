// Package world runs the real ledger, views and exchange of several agents and
// two servers in one process, in virtual time, with a network, disks and clocks
// that go wrong as a seed says. After each step the invariants are checked; at
// the end everything is healed and compared. One seed gives one history.
//
// Call Run inside a bubble of testing/synctest: every wait is a sleep, and at
// any virtual instant one actor only is awake, so that the order of steps is
// that of the instants.
package world

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// Options of a run.
type Options struct {
	Seed     uint64
	Dir      string        // for the anchor files
	Duration time.Duration // virtual, of the time with faults; 0: five minutes
	// Lying makes every disk forget its last commits when its node restarts,
	// as a disk that ignores syncs does: the checks must notice.
	Lying bool
	Log   func(line string) // of each step; may be nil
}

// Result of a run.
type Result struct {
	Trace  [sha256.Size]byte // over every step and every head after it
	Lines  []string          // the last steps
	Counts map[string]int    // how often what happened
}

// keptLines is how many steps a result carries.
const keptLines = 60

// World is one run.
type World struct {
	o     Options
	ctx   context.Context
	begin time.Time
	labs  []record.LabID
	agent []*node // clones at the end
	serve []*node
	links map[[2]*node]*link

	turn   sync.Mutex // held by the actor that is awake
	trace  hash.Hash
	lines  []string
	counts map[string]int
	broken error // the first violation
	parted bool  // two histories were left under one name

	hashes  map[record.Ref]map[record.Hash]bool
	forks   map[line]uint32 // own chains that two copies of a node may have written, from this epoch on
	setBack map[line]bool   // whose writer was restored from a backup
	content map[record.LabID]map[record.Hash]bool
	genesis map[record.Hash]bool // first records, which are not carried
	number  int
	actors  int
}

// line is what a node writes for a lab, over all epochs.
type line struct {
	node record.NodeID
	lab  record.LabID
}

// Run plays one seed. The error is the first violation, or what kept the run
// from being one.
func Run(ctx context.Context, o Options) (Result, error) {
	if o.Duration == 0 {
		o.Duration = 5 * time.Minute
	}
	w := &World{o: o, ctx: ctx, begin: time.Now(), trace: sha256.New(), counts: map[string]int{},
		links: map[[2]*node]*link{}, hashes: map[record.Ref]map[record.Hash]bool{}, forks: map[line]uint32{}, setBack: map[line]bool{},
		content: map[record.LabID]map[record.Hash]bool{}, genesis: map[record.Hash]bool{}}
	err := w.play()
	if w.broken != nil {
		err = w.broken
	}
	for _, n := range w.nodes() {
		if n.ledger != nil {
			_ = n.ledger.Close() // the folder is thrown away
		}
	}
	return Result{Trace: [sha256.Size]byte(w.trace.Sum(nil)), Lines: w.lines, Counts: w.counts}, err
}

func (w *World) nodes() []*node { return append(append([]*node{}, w.agent...), w.serve...) }

func (w *World) play() error {
	one, two := w.id("lab", 1), w.id("lab", 2)
	w.labs = []record.LabID{one, two}
	for _, lab := range w.labs {
		w.content[lab] = map[record.Hash]bool{}
	}
	for i, labs := range [][]record.LabID{{one}, {one, two}, {two}, {one, two}, {one, two}} {
		name := fmt.Sprintf("agent%d", i+1)
		if i >= 3 {
			name = fmt.Sprintf("server%d", i-2)
		}
		n := w.newNode(name, labs, i >= 3)
		if err := n.open(); err != nil {
			return err
		}
		if n.server {
			w.serve = append(w.serve, n)
		} else {
			w.agent = append(w.agent, n)
		}
	}
	var group sync.WaitGroup
	for _, n := range w.nodes() {
		w.start(&group, n)
	}
	group.Wait()
	if w.broken != nil {
		return w.broken
	}
	return w.heal()
}

// start lets a node act by itself until the time with faults is over.
func (w *World) start(group *sync.WaitGroup, n *node) {
	w.actors++
	a := &actor{w: w, n: n, slot: w.actors, rng: w.rng(n.name), group: group}
	group.Go(a.live)
}

// rng gives a stream of random numbers that depends on seed and name only.
func (w *World) rng(name string) *rand.Rand {
	sum := sha256.Sum256(binary.BigEndian.AppendUint64([]byte(name), w.o.Seed))
	return rand.New(rand.NewChaCha8(sum))
}

func (w *World) id(parts ...any) uuid.UUID {
	return uuid.NewSHA1(uuid.NameSpaceOID, fmt.Append(fmt.Append(nil, w.o.Seed, "/"), parts...))
}

func (w *World) newNode(name string, labs []record.LabID, server bool) *node {
	seed := sha256.Sum256(fmt.Append(nil, name, w.o.Seed))
	n := &node{w: w, name: name, id: w.id(name), key: ed25519.NewKeyFromSeed(seed[:]), labs: labs, server: server, offset: era,
		dir: filepath.Join(w.o.Dir, name)}
	n.wipe()
	return n
}

// note writes one step into the trace, and checks the nodes that it touched.
func (w *World) note(what, outcome string, touched ...*node) {
	w.counts[what+" "+outcome]++
	text := fmt.Sprintf("%12s %s: %s", time.Since(w.begin), what, outcome)
	for _, n := range touched {
		text += "\n" + n.describe()
	}
	w.trace.Write([]byte(text + "\n"))
	w.lines = append(w.lines, text)
	if len(w.lines) > keptLines {
		w.lines = w.lines[1:]
	}
	if w.o.Log != nil {
		w.o.Log(text)
	}
	for _, n := range touched {
		w.violated(n.check(false))
	}
}

// violated keeps the first violation; the actors then stop.
func (w *World) violated(err error) {
	if err != nil && w.broken == nil {
		w.broken = fmt.Errorf("after %s: %w", time.Since(w.begin), err)
	}
}

// folder makes the folder of a node's anchor.
func (n *node) folder() error { return os.MkdirAll(n.dir, 0o700) }

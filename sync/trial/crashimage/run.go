//go:build linux

package crashimage

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// Options of a run.
type Options struct {
	Images  int
	Seed    uint64
	Deaf    bool   // every sync is ignored: the control
	Scratch string // a folder for images, best in memory
	Workers int
	Judge   func(ctx context.Context, acks string) *exec.Cmd // a process that runs Judge
}

// Failure is an image that is not as it must be.
type Failure struct {
	Call  int // how many calls came before the cut
	Acked int
	Err   error
}

// Run is the recording of a workload, ready to be cut anywhere.
type Run struct {
	o     Options
	root  string
	ops   []op
	acks  string
	acked []ack
}

// Load reads a recording of Work in the folder root.
func Load(trace, root string, o Options) (*Run, error) {
	f, err := os.Open(trace)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // it was read only
	r := &Run{o: o, root: root, acks: filepath.Join(root, ackName)}
	if r.ops, err = parseTrace(f, root); err != nil {
		return nil, err
	}
	r.acked, err = readAcks(r.acks)
	return r, err
}

// Calls gives how many calls were recorded, and how many of them are syncs.
func (r *Run) Calls() (all, syncs int) {
	for i := range r.ops {
		if r.ops[i].kind == opSync {
			syncs++
		}
	}
	return len(r.ops), syncs
}

// Acked gives how many shots were acknowledged.
func (r *Run) Acked() int { return len(r.acked) }

// task is an image for a worker.
type task struct {
	image image
	call  int
	acked int
}

// Play cuts the recording at random calls and judges what is left. A tenth of
// the cuts falls into the making of the folder.
func (r *Run) Play(ctx context.Context) ([]Failure, error) {
	rng := rand.New(rand.NewPCG(r.o.Seed, 7))
	first := slices.IndexFunc(r.ops, func(o op) bool { return strings.HasSuffix(o.path, "/"+ackName) })
	cuts := make([]int, r.o.Images)
	for i := range cuts {
		cuts[i] = rng.IntN(len(r.ops) + 1)
		if i%10 == 0 {
			cuts[i] = rng.IntN(max(first, 1))
		}
	}
	slices.Sort(cuts)
	tasks := make(chan task)
	var failures []Failure
	var broken error
	var mu sync.Mutex
	var group sync.WaitGroup
	for i := range r.o.Workers {
		group.Go(func() {
			got, err := r.work(ctx, filepath.Join(r.o.Scratch, fmt.Sprint("worker", i)), tasks)
			mu.Lock()
			defer mu.Unlock()
			failures = append(failures, got...)
			if err != nil {
				broken = err
			}
		})
	}
	r.make(cuts, rng, tasks)
	close(tasks)
	group.Wait()
	slices.SortFunc(failures, func(a, b Failure) int { return a.Call - b.Call })
	return failures, broken
}

func (r *Run) make(cuts []int, rng *rand.Rand, tasks chan<- task) {
	d := newDisk()
	d.deaf = r.o.Deaf
	acked := 0
	for call := 0; ; call++ {
		for len(cuts) > 0 && cuts[0] == call {
			tasks <- task{image: d.cut(rng).own(), call: call, acked: acked}
			cuts = cuts[1:]
		}
		if call == len(r.ops) {
			return
		}
		o := &r.ops[call]
		if strings.HasSuffix(o.path, "/"+ackName) {
			if o.kind == opWrite {
				acked++
			}
			continue
		}
		d.do(o)
	}
}

// own makes the image independent of the disk that goes on.
func (im image) own() image {
	names := make(map[string]*inode, len(im.names))
	for path, n := range im.names {
		if _, ok := im.bytes[path]; !ok && !n.dir {
			im.bytes[path] = n.durable // replaced by a sync, never changed
		}
		names[path] = new(*n)
	}
	im.names = names
	return im
}

// work writes images into a folder and asks the judge. After an error of its
// own it goes on taking tasks, so that nobody waits for it.
func (r *Run) work(ctx context.Context, dir string, tasks <-chan task) (failures []Failure, broken error) {
	var j *judging
	for t := range tasks {
		if broken != nil {
			continue
		}
		err := r.sources(&t)
		if err == nil {
			if broken = r.lay(dir, &t); broken != nil {
				continue
			}
			err = r.ask(ctx, &j, question{Dir: dir, Acked: t.acked})
		}
		if err != nil {
			failures = append(failures, Failure{Call: t.call, Acked: t.acked, Err: err})
		}
	}
	if err := j.end(); broken == nil {
		broken = err
	}
	return failures, broken
}

func (r *Run) source(h record.Hash) string {
	name := h.String()
	return filepath.Join(r.root, blobsName, name[:2], name)
}

// sources: every acknowledged shot has its source in the image, and the anchor
// knows the last of them: its two slots hold the newest heads.
func (r *Run) sources(t *task) error {
	if t.acked > 0 {
		last := r.acked[t.acked-1]
		if !bytes.Contains(t.image.bytes[ledger.DefaultAnchor(r.root)], last.hash[:]) {
			return fmt.Errorf("the anchor does not know acknowledged record %d", last.seq)
		}
	}
	for i := range r.acked[:t.acked] {
		path := r.source(r.acked[i].source)
		if !t.image.there(r.root, path) {
			return fmt.Errorf("the source of acknowledged record %d is lost", r.acked[i].seq)
		}
		if i >= t.acked-recent || r.o.Deaf {
			if sum := sha256.Sum256(t.image.bytes[path]); sum != r.acked[i].source {
				return fmt.Errorf("the source of acknowledged record %d is damaged", r.acked[i].seq)
			}
		}
	}
	return nil
}

// lay writes an image as files. Of the sources only the newest are needed.
func (r *Run) lay(dir string, t *task) error {
	if err := os.RemoveAll(dir); err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	want := map[string]bool{}
	for i := max(0, t.acked-recent); i < t.acked; i++ {
		want[r.source(r.acked[i].source)] = true
	}
	for path, n := range t.image.names {
		stored := strings.HasPrefix(path, filepath.Join(r.root, blobsName)+"/")
		if n.dir || stored && !want[path] && len(n.pending) == 0 && !strings.Contains(path, "/part/") || !t.image.there(r.root, path) {
			continue
		}
		to := filepath.Join(dir, strings.TrimPrefix(path, r.root))
		if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
			return err
		}
		if err := os.WriteFile(to, t.image.bytes[path], 0o600); err != nil {
			return err
		}
	}
	return nil
}

package exchange

import (
	"context"
	"slices"
	"sync"
	"time"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// At most commitsAtOnce batches are written at a time, which the store commits
// together.
const (
	commitsAtOnce = 8
	busyWait      = 2 * time.Second
)

// Turns lets the labs work in turn, so that the backlog of one does not keep
// the others waiting: whoever comes second waits for at most one piece of work
// of each other lab, however much of theirs came before.
type Turns struct {
	slots, ofLab, queue int

	mu      sync.Mutex
	running int
	held    map[record.LabID]int
	waiting map[record.LabID][]chan struct{}
	order   []record.LabID // labs that wait, the next one first
}

// NewTurns makes slots, of which one lab holds at most ofLab; of one lab at
// most queue wait.
func NewTurns(slots, ofLab, queue int) *Turns {
	return &Turns{slots: slots, ofLab: ofLab, queue: queue, held: map[record.LabID]int{}, waiting: map[record.LabID][]chan struct{}{}}
}

// Take waits for a turn, at most as long as ctx lasts. The caller calls done
// once. The error is ctx's, or a *WaitError where too many wait already.
func (t *Turns) Take(ctx context.Context, lab record.LabID) (done func(), err error) {
	done = func() { t.done(lab) }
	t.mu.Lock()
	if t.running < t.slots && t.held[lab] < t.ofLab && len(t.waiting[lab]) == 0 {
		t.grant(lab)
		t.mu.Unlock()
		return done, nil
	}
	if len(t.waiting[lab]) >= t.queue {
		t.mu.Unlock()
		return nil, Busy()
	}
	mine := make(chan struct{})
	if len(t.waiting[lab]) == 0 {
		t.order = append(t.order, lab)
	}
	t.waiting[lab] = append(t.waiting[lab], mine)
	t.mu.Unlock()
	select {
	case <-mine:
		return done, nil
	case <-ctx.Done():
		t.leave(lab, mine)
		return nil, ctx.Err()
	}
}

// Busy is the answer to those for whom there is no turn.
func Busy() error {
	return &WaitError{After: busyWait, Err: problem.New(problem.Unavailable,
		"The server has more to take for this lab than it can keep up with.", "It is tried again in a moment by itself.")}
}

func (t *Turns) grant(lab record.LabID) {
	t.running++
	t.held[lab]++
}

func (t *Turns) done(lab record.LabID) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.running--
	if t.held[lab]--; t.held[lab] == 0 {
		delete(t.held, lab)
	}
	t.next()
}

// next gives free slots to the labs that have waited for longest since their
// last turn.
func (t *Turns) next() {
	for t.running < t.slots {
		i := slices.IndexFunc(t.order, func(l record.LabID) bool { return t.held[l] < t.ofLab })
		if i < 0 {
			return
		}
		lab := t.order[i]
		t.order = slices.Delete(t.order, i, i+1)
		q := t.waiting[lab]
		close(q[0])
		t.grant(lab)
		if t.waiting[lab] = q[1:]; len(q) > 1 {
			t.order = append(t.order, lab)
		} else {
			delete(t.waiting, lab)
		}
	}
}

// leave gives up waiting, or passes on a turn that came in the same moment.
func (t *Turns) leave(lab record.LabID, mine chan struct{}) {
	t.mu.Lock()
	i := slices.Index(t.waiting[lab], mine)
	if i >= 0 {
		t.waiting[lab] = slices.Delete(t.waiting[lab], i, i+1)
		if len(t.waiting[lab]) == 0 {
			delete(t.waiting, lab)
			t.order = slices.DeleteFunc(t.order, func(l record.LabID) bool { return l == lab })
		}
	}
	t.mu.Unlock()
	if i < 0 {
		t.done(lab)
	}
}

package boltkv

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"sync/atomic"

	bolt "go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"thudbook/sync/kv"
)

// maxBatch bounds how many updates share a commit.
const maxBatch = 512

// request is one Update that waits for its commit.
type request struct {
	fn      func(kv.Tx) error
	claimed atomic.Bool // by the committer, or by a caller that gave up
	result  chan result
}

type result struct {
	err   error
	panic any // of fn, to go on in the caller's goroutine
}

// Update runs fn and commits what it wrote, together with other updates that
// wait at the time. See kv.Store for the duties of fn. An end of ctx is
// noticed until the commit begins.
func (s *Store) Update(ctx context.Context, fn func(kv.Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err // a select chooses at random when the queue is free as well
	}
	r := &request{fn: fn, result: make(chan result, 1)}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-s.stop:
		return errClosed(s.path)
	case s.queue <- r:
	}
	var res result
	select {
	case res = <-r.result:
	case <-ctx.Done():
		if r.claimed.CompareAndSwap(false, true) {
			return ctx.Err()
		}
		res = <-r.result // it is being committed: only the committer knows how it ends
	}
	if res.panic != nil {
		panic(res.panic)
	}
	return res.err
}

// commitLoop is the one writer. While it commits, gather collects what comes.
func (s *Store) commitLoop() {
	defer close(s.done)
	defer catchFaults()()
	batches := make(chan []*request)
	go s.gather(batches) // ends with s.stop and closes batches
	for batch := range batches {
		s.run(batch)
	}
}

// gather collects requests and hands over all of them whenever the committer
// is free.
func (s *Store) gather(batches chan<- []*request) {
	defer close(batches)
	var waiting []*request
	for {
		var out chan<- []*request
		var in <-chan *request
		if len(waiting) > 0 {
			out = batches
		}
		if len(waiting) < maxBatch {
			in = s.queue
		}
		select {
		case r := <-in:
			waiting = append(waiting, r)
		case out <- waiting:
			waiting = nil
		case <-s.stop:
			for _, r := range waiting {
				if r.claimed.CompareAndSwap(false, true) {
					r.result <- result{err: errClosed(s.path)}
				}
			}
			return
		}
	}
}

// run commits a batch. Whoever fails in it is taken out, the others are run
// again without it, and it then gets a transaction of its own, so that its
// error never comes from a state that was not committed.
func (s *Store) run(batch []*request) {
	live := batch[:0]
	for _, r := range batch {
		if r.claimed.CompareAndSwap(false, true) {
			live = append(live, r)
		}
	}
	var alone []*request
	for len(live) > 0 {
		bad, res := s.commit(live)
		if bad < 0 || len(live) == 1 {
			for _, r := range live {
				r.result <- res
			}
			break
		}
		alone = append(alone, live[bad])
		live = append(live[:bad:bad], live[bad+1:]...)
	}
	for _, r := range alone {
		_, res := s.commit([]*request{r})
		r.result <- res
	}
}

// commit runs all of batch in one transaction. It gives the index of the one
// whose fn failed, or -1 when the result holds for all.
func (s *Store) commit(batch []*request) (bad int, res result) {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if err := s.usable(); err != nil {
		return -1, result{err: err}
	}
	btx, err := s.begin()
	if err != nil {
		return -1, result{err: err}
	}
	t := newTx(btx, s)
	for i, r := range batch {
		res := s.call(r.fn, t)
		if res.err == nil && res.panic == nil {
			continue
		}
		t.done = true
		if err := s.rollback(btx); err != nil {
			s.fault(err)
			res.err = errors.Join(res.err, err)
		}
		return i, res
	}
	t.done = true
	if err := s.finish(btx); err != nil {
		s.failed.Add(1)
		err = fmt.Errorf("commit to %s: %w: %w", s.path, kv.ErrUnknown, err)
		s.fault(err)
		return -1, result{err: err}
	}
	s.commits.Add(1)
	return -1, result{}
}

func (s *Store) fault(err error) { s.bad.CompareAndSwap(nil, &err) }

func (s *Store) begin() (btx *bolt.Tx, err error) {
	defer recoverDamage(s.path, &err)
	if btx, err = s.db.Begin(true); err != nil {
		return nil, fmt.Errorf("begin writing: %w", err)
	}
	return btx, nil
}

func (s *Store) rollback(btx *bolt.Tx) (err error) {
	defer recoverDamage(s.path, &err)
	return btx.Rollback()
}

func (s *Store) finish(btx *bolt.Tx) (err error) {
	defer func() {
		if err != nil { // frees bbolt's writer lock where a panic left it held
			if e := s.rollback(btx); !errors.Is(e, berrors.ErrTxClosed) {
				err = errors.Join(err, e)
			}
		}
	}()
	defer recoverDamage(s.path, &err)
	return btx.Commit()
}

// call runs fn. A panic out of bbolt is damage; any other one goes back to the
// caller, whose mistake it is.
func (s *Store) call(fn func(kv.Tx) error, t *tx) (res result) {
	defer func() {
		if r := recover(); r != nil {
			stack := debug.Stack()
			if fromStore(r, stack) {
				res.err = damaged(s.path, pageFault(r))
			} else {
				res.panic = fmt.Sprintf("%v\n%s", r, stack)
			}
		}
	}()
	if err := fn(t); err != nil {
		return result{err: err}
	}
	return result{err: t.err}
}

package boltkv

import (
	"os"
	"sync"
	"time"
)

// Stats is what telemetry shows of a store.
type Stats struct {
	FileBytes     int64
	FreePages     int // free pages on the list that each commit writes
	PendingPages  int // pages that open readers keep from reuse
	OpenReaders   int
	OldestReader  time.Duration // age, zero without readers
	Commits       int64         // each of them syncs twice, once more when the file grows
	FailedCommits int64
	Faulted       bool
}

// Stats gives the figures of now.
func (s *Store) Stats() Stats {
	s.mu.RLock()
	defer s.mu.RUnlock()
	st := Stats{Commits: s.commits.Load(), FailedCommits: s.failed.Load(), Faulted: s.bad.Load() != nil}
	st.OpenReaders, st.OldestReader = s.oldest.state()
	if s.db != nil {
		b := s.db.Stats()
		st.FreePages, st.PendingPages = b.FreePageN, b.PendingPageN
	}
	if fi, err := os.Stat(s.path); err == nil {
		st.FileBytes = fi.Size()
	}
	return st
}

// readers knows when each open reader began.
type readers struct {
	mu   sync.Mutex
	next int
	open map[int]time.Time
}

func (r *readers) enter() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.open == nil {
		r.open = make(map[int]time.Time)
	}
	r.next++
	r.open[r.next] = time.Now()
	return r.next
}

func (r *readers) leave(id int) time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	took := time.Since(r.open[id])
	delete(r.open, id)
	return took
}

func (r *readers) state() (n int, oldest time.Duration) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, t := range r.open {
		oldest = max(oldest, time.Since(t))
	}
	return len(r.open), oldest
}

package desk

import (
	"context"
	"sync"
	"time"
)

// works runs what takes longer than an answer may, each under a key once.
type works struct {
	base context.Context // ends all
	stop context.CancelFunc
	on   sync.WaitGroup
	now  func() time.Time

	mu   sync.Mutex
	kept map[string]*work
}

// work is one long work and how far it is.
type work struct {
	stop    context.CancelFunc
	Done    int
	Of      int
	Ended   bool
	Err     error
	Made    any // by a work that only computes
	lastAsk time.Time
}

// Bounds of works.
const (
	mostWorks    = 16 // kept at once; the one asked for longest ago goes
	longestWork  = time.Hour
	forgottenFor = 30 * time.Second // a work that only computes ends when nobody has asked for so long
)

func newWorks(now func() time.Time) *works {
	base, stop := context.WithCancel(context.Background())
	return &works{base: base, stop: stop, now: now, kept: map[string]*work{}}
}

// close ends all works and waits for them; what they have written stays.
func (w *works) close() {
	w.stop()
	w.on.Wait()
}

// ask gives a copy of a work.
func (w *works) ask(key string) (work, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	x, ok := w.kept[key]
	if !ok {
		return work{}, false
	}
	x.lastAsk = w.now()
	return *x, true
}

// take is ask for a work that only computes: one that has ended is handed over
// and forgotten, so that the next look computes anew.
func (w *works) take(key string) (work, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	x, ok := w.kept[key]
	if !ok {
		return work{}, false
	}
	if x.lastAsk = w.now(); x.Ended {
		delete(w.kept, key)
	}
	return *x, true
}

// start begins a work unless it goes on already. One that is awaited ends when
// nobody asks for it any more.
func (w *works) start(key string, of int, awaited bool, run func(ctx context.Context, told func(done int)) (any, error)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if x, ok := w.kept[key]; ok && !x.Ended {
		return
	}
	w.trim()
	ctx, stop := context.WithTimeout(w.base, longestWork)
	x := &work{stop: stop, Of: of, lastAsk: w.now()}
	w.kept[key] = x
	w.on.Go(func() { // its outcome is kept in x
		defer stop()
		made, err := run(ctx, func(done int) {
			w.mu.Lock()
			defer w.mu.Unlock()
			x.Done = done
			if awaited && w.now().Sub(x.lastAsk) > forgottenFor {
				stop()
			}
		})
		w.mu.Lock()
		defer w.mu.Unlock()
		x.Ended, x.Made, x.Err = true, made, err
	})
}

// end stops a work; what it has written stays.
func (w *works) end(key string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if x, ok := w.kept[key]; ok {
		x.stop()
	}
}

// trim makes room for one more.
func (w *works) trim() {
	for len(w.kept) >= mostWorks {
		oldest := ""
		for k, x := range w.kept {
			if x.Ended && (oldest == "" || x.lastAsk.Before(w.kept[oldest].lastAsk)) {
				oldest = k
			}
		}
		if oldest == "" {
			return
		}
		delete(w.kept, oldest)
	}
}

// firstWait is how long an answer waits for a work before it shows how far it is.
const firstWait = 400 * time.Millisecond

// within waits for a work's end, at most so long.
func (w *works) within(ctx context.Context, key string, most time.Duration) error {
	until := time.NewTimer(most)
	defer until.Stop()
	look := time.NewTicker(5 * time.Millisecond)
	defer look.Stop()
	for {
		if x, ok := w.ask(key); !ok || x.Ended {
			return nil
		}
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-until.C:
			return nil
		case <-look.C:
		}
	}
}

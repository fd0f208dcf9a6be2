package secret

import (
	"fmt"
	"sync"
	"time"

	"thudbook/sync/problem"
)

// Limits say how many wrong tries are free; then each waits longer than the
// one before.
type Limits struct {
	Tries       string // what was tried, as "passwords"
	What        string // for what, as "this name"
	Free        int
	First, Most time.Duration
}

// mostKeys bounds the memory of a throttle.
const mostKeys = 10_000

// Throttle slows guessing down, per key. A success forgets a name's failures,
// not an address's.
type Throttle struct {
	limits Limits
	now    func() time.Time
	mu     sync.Mutex
	keys   map[string]*tries
}

type tries struct {
	failed int
	until  time.Time
}

// NewThrottle makes one; now tells the time.
func NewThrottle(now func() time.Time, l Limits) *Throttle {
	return &Throttle{limits: l, now: now, keys: map[string]*tries{}}
}

// Allow refuses a key that has to wait; "" is never refused.
func (t *Throttle) Allow(key string) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	n := t.keys[key]
	if n == nil || !t.now().Before(n.until) {
		return nil
	}
	return problem.New(problem.Unavailable, fmt.Sprintf("Too many wrong %s for %s.", t.limits.Tries, t.limits.What), "Wait "+inWords(n.until.Sub(t.now()))+", then try again.")
}

// inWords gives a wait in whole seconds, rounded up so that it is over when they are.
func inWords(d time.Duration) string {
	s := int64((d + time.Second - 1) / time.Second)
	switch {
	case s == 1:
		return "1 second"
	case s < 120:
		return fmt.Sprintf("%d seconds", s)
	case s%60 == 0:
		return fmt.Sprintf("%d minutes", s/60)
	default:
		return fmt.Sprintf("%d minutes %d s", s/60, s%60)
	}
}

// Failed counts a wrong try.
func (t *Throttle) Failed(key string) {
	if key == "" {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	n := t.keys[key]
	if n == nil {
		if len(t.keys) >= mostKeys {
			t.forget()
		}
		n = &tries{}
		t.keys[key] = n
	}
	n.failed++
	if over := n.failed - t.limits.Free; over >= 0 {
		wait := t.limits.Most
		if over < 6 {
			wait = min(t.limits.Most, t.limits.First<<over)
		}
		n.until = t.now().Add(wait)
	}
}

// Succeeded forgets what was wrong before.
func (t *Throttle) Succeeded(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.keys, key)
}

// Wait is what a throttle knows of a key, to be kept over a restart.
type Wait struct {
	Failed int       `json:"failed"`
	Until  time.Time `json:"until"`
}

// Of gives what is known of a key; nothing was wrong when Failed is zero.
func (t *Throttle) Of(key string) Wait {
	t.mu.Lock()
	defer t.mu.Unlock()
	if n := t.keys[key]; n != nil {
		return Wait{Failed: n.failed, Until: n.until}
	}
	return Wait{}
}

// Restore takes up what was kept. A wait is never longer than the longest there
// is, whatever the clock showed when it began.
func (t *Throttle) Restore(key string, w Wait) {
	if key == "" || w.Failed < 1 {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.keys) >= mostKeys {
		t.forget()
	}
	if most := t.now().Add(t.limits.Most); w.Until.After(most) {
		w.Until = most
	}
	t.keys[key] = &tries{failed: w.Failed, until: w.Until}
}

// forget drops keys whose wait is over; if all still wait, all are dropped.
func (t *Throttle) forget() {
	for k, n := range t.keys {
		if !t.now().Before(n.until) {
			delete(t.keys, k)
		}
	}
	if len(t.keys) >= mostKeys {
		clear(t.keys)
	}
}

package account

import (
	"fmt"
	"sync"
	"time"

	"thudbook/sync/problem"
)

// limits say how many failed sign-ins are free; then each waits longer than
// the one before.
type limits struct {
	what        string
	free        int
	first, most time.Duration
}

func nameLimits() limits {
	return limits{what: "this name", free: 5, first: 10 * time.Second, most: 10 * time.Minute}
}

// addressLimits are wider: a whole building may share one address.
func addressLimits() limits {
	return limits{what: "your address", free: 50, first: 10 * time.Second, most: 10 * time.Minute}
}

// mostKeys bounds the memory of a throttle.
const mostKeys = 10_000

// throttle slows guessing down, per key. A success forgets a name's failures,
// not an address's.
type throttle struct {
	limits
	now  func() time.Time
	mu   sync.Mutex
	keys map[string]*tries
}

type tries struct {
	failed int
	until  time.Time
}

func newThrottle(now func() time.Time, l limits) *throttle {
	return &throttle{limits: l, now: now, keys: map[string]*tries{}}
}

// allow refuses a key that has to wait; "" is never refused.
func (t *throttle) allow(key string) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	n := t.keys[key]
	if n == nil || !t.now().Before(n.until) {
		return nil
	}
	wait := n.until.Sub(t.now()).Round(time.Second)
	return problem.New(problem.Unavailable, fmt.Sprintf("too many wrong passwords for %s; it is open again in %s", t.what, wait), "wait, then try again")
}

func (t *throttle) failed(key string) {
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
	if over := n.failed - t.free; over >= 0 {
		wait := t.most
		if over < 6 {
			wait = min(t.most, t.first<<over)
		}
		n.until = t.now().Add(wait)
	}
}

func (t *throttle) succeeded(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.keys, key)
}

// forget drops keys whose wait is over; if all still wait, all are dropped.
func (t *throttle) forget() {
	for k, n := range t.keys {
		if !t.now().Before(n.until) {
			delete(t.keys, k)
		}
	}
	if len(t.keys) >= mostKeys {
		clear(t.keys)
	}
}

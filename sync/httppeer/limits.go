package httppeer

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Rate is how often something may happen: Burst at once, and one more every Every.
type Rate struct {
	Burst int
	Every time.Duration
}

// Limits bounds what costs a server before it knows, or although it knows, who
// asks. A zero Rate is no limit.
type Limits struct {
	EnrolAddress Rate // enrolments from one address that is not this computer
	Enrol        Rate // enrolments in all
	Challenge    Rate // nonces for one address that is not this computer
	Session      Rate // sessions of one node
}

// UsualLimits suit a server for some hundred agents.
func UsualLimits() Limits {
	return Limits{
		EnrolAddress: Rate{20, 6 * time.Second},
		Enrol:        Rate{300, time.Second},
		Challenge:    Rate{600, 100 * time.Millisecond},
		Session:      Rate{300, 100 * time.Millisecond},
	}
}

// maxMeters bounds the memory for counting; whoever was counted least lately
// gives way, and starts with a full burst again.
const maxMeters = 20_000

// meters counts one kind of thing by its key.
type meters struct {
	rate Rate
	now  func() time.Time

	mu   sync.Mutex
	of   map[string]*rate.Limiter
	last map[string]time.Time
}

func newMeters(r Rate, now func() time.Time) *meters {
	return &meters{rate: r, now: now, of: map[string]*rate.Limiter{}, last: map[string]time.Time{}}
}

// take counts one, or gives an error that says when to come again.
func (m *meters) take(key, what string) error {
	if m.rate.Burst <= 0 || m.rate.Every <= 0 {
		return nil
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	now := m.now()
	l := m.of[key]
	if l == nil {
		m.makeRoom(now)
		l = rate.NewLimiter(rate.Every(m.rate.Every), m.rate.Burst)
		m.of[key] = l
	}
	m.last[key] = now
	if l.AllowN(now, 1) {
		return nil
	}
	r := l.ReserveN(now, 1)
	after := r.DelayFrom(now)
	r.CancelAt(now)
	return &exchange.WaitError{After: max(after, time.Second), TooMany: true, Err: problem.New(problem.Unavailable,
		fmt.Sprintf("Too many %s in a short time.", what), "It is tried again by itself after a pause.")}
}

// makeRoom drops those that have their whole burst again, and if that is not
// enough all of them: to forget is better than to grow.
func (m *meters) makeRoom(now time.Time) {
	if len(m.of) < maxMeters {
		return
	}
	full := time.Duration(m.rate.Burst) * m.rate.Every
	for k, at := range m.last {
		if now.Sub(at) > full {
			delete(m.last, k)
			delete(m.of, k)
		}
	}
	if len(m.of) >= maxMeters {
		clear(m.last)
		clear(m.of)
	}
}

// addressOf gives the network address that a request came from; "" for this
// computer, where a proxy may stand for many.
func addressOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	if isLoopback(host) {
		return ""
	}
	if ip := net.ParseIP(host); ip != nil && ip.To4() == nil {
		return ip.Mask(net.CIDRMask(64, 128)).String() // whoever has one address of such a net has all
	}
	return host
}

// Work that a server does at once. A body waits outside for its turn, so that
// memory is bounded; a slow one holds up its own lab only.
const (
	workAtOnce = 64
	workOfLab  = 16
	workQueue  = 64
	turnWait   = 10 * time.Second // less than what a client's silence may last
)

// turn waits for a place, at most turnWait, and tells to come again otherwise.
func turn(ctx context.Context, t *exchange.Turns, lab record.LabID) (done func(), err error) {
	wait, cancel := context.WithTimeout(ctx, turnWait)
	defer cancel()
	done, err = t.Take(wait, lab)
	if err != nil && ctx.Err() == nil && wait.Err() != nil {
		return nil, exchange.Busy()
	}
	return done, err
}

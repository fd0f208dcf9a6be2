package hlc

import (
	"sync"
	"time"
)

// MaxAhead is how far a foreign stamp may lie before our own clock and still
// be folded in. A stamp beyond it is kept with its record but called suspect.
const MaxAhead = 10 * time.Minute

const counterBits = 16

// At gives the first stamp of the millisecond that t lies in. Times before
// 1970 give zero.
func At(t time.Time) Time {
	ms := t.UnixMilli()
	if ms < 0 {
		return 0
	}
	return Time(ms) << counterBits
}

// Millis gives the milliseconds since 1970.
func (t Time) Millis() int64 { return int64(t >> counterBits) }

// Counter gives the place within the millisecond.
func (t Time) Counter() uint16 { return uint16(t) }

// Wall gives the stamp's millisecond as a time, for logs only.
func (t Time) Wall() time.Time { return time.UnixMilli(t.Millis()).UTC() }

// Clock makes stamps that never go back. It is safe for concurrent use.
type Clock struct {
	now func() time.Time

	mu       sync.Mutex
	last     Time
	offset   time.Duration // of the wall clock, to the one that others go by
	measured bool
}

// New makes a clock that continues after last, the greatest stamp that was
// persisted. A nil now means time.Now.
func New(last Time, now func() time.Time) *Clock {
	if now == nil {
		now = time.Now
	}
	return &Clock{now: now, last: last}
}

// Measured takes in by how much the wall clock was found to be ahead of the one
// that others go by; negative: behind.
func (c *Clock) Measured(ahead time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.offset, c.measured = ahead, true
}

// Tick gives a stamp greater than every stamp given or folded in before. When
// the counter of a millisecond is used up, the next millisecond is taken.
func (c *Clock) Tick() Time { return c.After(0) }

// After is Tick with the promise that the stamp is also greater than floor.
func (c *Clock) After(floor Time) Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	// One step further carries from a full counter into the milliseconds.
	c.last = max(c.last+1, floor+1, c.own())
	return c.last
}

// Fold takes a foreign stamp in, so that the next Tick is greater. A stamp
// more than MaxAhead before our own clock is not folded in: it is suspect.
func (c *Clock) Fold(remote Time) (suspect bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if remote > At(c.others().Add(MaxAhead)) {
		return true
	}
	c.last = max(c.last, remote)
	return false
}

// Last gives the greatest stamp so far.
func (c *Clock) Last() Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.last
}

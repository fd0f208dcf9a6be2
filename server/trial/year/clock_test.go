package year

import (
	"sync"
	"time"

	"thudbook/sync/lab"
)

// begin is the first day of the year; it lies ahead, so that nothing depends on today.
var begin = time.Date(2027, 1, 4, 6, 0, 0, 0, time.UTC)

const monthLength = 30*24*time.Hour + 10*time.Hour

// monthEnd is half an hour past a full hour, and due dates are on full hours, so
// that what passes while the trial runs changes no answer.
func monthEnd(m int) time.Time { return begin.Add(time.Duration(m+1)*monthLength + 30*time.Minute) }

// clock shows a time of the simulated year, and runs on from there.
type clock struct {
	mu   sync.Mutex
	at   time.Time
	real time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at.Add(time.Since(c.real))
}

func (c *clock) set(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at, c.real = t, time.Now()
}

// still is a rig's clock, which stands until it is set.
type still struct {
	mu sync.Mutex
	at time.Time
}

func (s *still) now() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.at
}

func (s *still) set(t time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.at = t
}

func ms(t time.Time) lab.Time { return lab.At(t) }

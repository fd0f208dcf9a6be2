package desk

import (
	"testing"
	"time"
)

// A step of the clock is told for what began before it, not for what began
// after; drift and steps back are none.
func TestClockSetForwardIsNoticed(t *testing.T) {
	var j jumps
	start := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	at := func(wall, counted time.Duration) time.Time { j.look(start.Add(wall), counted); return start.Add(wall) }
	at(0, 0)
	out := start.Add(time.Minute) // a specimen leaves its chamber
	at(2*time.Minute, 2*time.Minute)
	at(3*time.Minute+time.Second, 3*time.Minute) // drift
	if by := j.since(out); by != 0 {
		t.Fatalf("a second of drift is told as %s", by)
	}
	at(64*time.Minute+time.Second, 4*time.Minute) // set forward by an hour
	if by := j.since(out); by != time.Hour {
		t.Errorf("the hour is told as %s", by)
	}
	after := at(65*time.Minute+time.Second, 5*time.Minute)
	if by := j.since(after); by != 0 {
		t.Errorf("of what began after it: %s", by)
	}
	at(5*time.Minute, 6*time.Minute) // and back
	if by := j.since(out); by != 0 {
		t.Errorf("set back further than forward: %s", by)
	}
	at(16*time.Minute, 7*time.Minute) // ten minutes forward: the time of day is nine minutes ahead in all, less the drift
	if by := j.since(out); by != 9*time.Minute-time.Second {
		t.Errorf("three steps are told as %s", by)
	}
}

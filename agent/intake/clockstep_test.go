package intake

import (
	"strings"
	"testing"
	"time"
)

// A step of the clock is told for what began before it, not for what began
// after; drift and steps back are none.
func TestClockSetForwardIsNoticed(t *testing.T) {
	var j ClockSteps
	start := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	at := func(wall, counted time.Duration) time.Time { j.Look(start.Add(wall), counted); return start.Add(wall) }
	at(0, 0)
	out := start.Add(time.Minute) // a specimen leaves its chamber
	at(2*time.Minute, 2*time.Minute)
	at(3*time.Minute+time.Second, 3*time.Minute) // drift
	if by := j.Since(out); by != 0 {
		t.Fatalf("a second of drift is told as %s", by)
	}
	at(64*time.Minute+time.Second, 4*time.Minute) // set forward by an hour
	if by := j.Since(out); by != time.Hour {
		t.Errorf("the hour is told as %s", by)
	}
	after := at(65*time.Minute+time.Second, 5*time.Minute)
	if by := j.Since(after); by != 0 {
		t.Errorf("of what began after it: %s", by)
	}
	at(5*time.Minute, 6*time.Minute) // and back
	if by := j.Since(out); by != 0 {
		t.Errorf("set back further than forward: %s", by)
	}
	at(16*time.Minute, 7*time.Minute) // ten minutes forward: the time of day is nine minutes ahead in all, less the drift
	if by := j.Since(out); by != 9*time.Minute-time.Second {
		t.Errorf("three steps are told as %s", by)
	}
}

// What stands of the steps is told in words, for a day at the rig; set forward
// and back is nothing.
func TestStandingSteps(t *testing.T) {
	var j ClockSteps
	start := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	at := func(wall, counted time.Duration, want string) {
		t.Helper()
		j.Look(start.Add(wall), counted)
		if got := j.standing(counted); want == "" && got != "" || !strings.Contains(got, want) {
			t.Errorf("after %s: %q, want %q", counted, got, want)
		}
	}
	at(0, 0, "")
	at(time.Minute+20*time.Second, time.Minute, "") // less than is told
	at(62*time.Minute, 2*time.Minute, "set forward by 59m40s")
	at(13*time.Hour+59*time.Minute, 12*time.Hour+59*time.Minute, "")
	at(13*time.Hour, 13*time.Hour, "set back by 1h0m0s before this file came, which was noticed when it showed 2026-05-05 01:00:00 UTC;")
	at(15*time.Hour, 14*time.Hour, "") // forward again: as it was an hour ago
}

// A computer whose clock seems to be set each night, since it sleeps, is still
// watched after months.
func TestClockStepsGoOnAfterMany(t *testing.T) {
	var j ClockSteps
	wall, counted := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), time.Duration(0)
	j.Look(wall, counted)
	for range 300 {
		wall, counted = wall.Add(24*time.Hour), counted+16*time.Hour
		j.Look(wall, counted)
	}
	if by := j.Since(wall.Add(-12 * time.Hour)); by != 8*time.Hour {
		t.Errorf("the last night's step counts as %v, want 8 h", by)
	}
}

package hlc_test

import (
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thudbook/sync/hlc"
)

var noon = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

func fixed(t time.Time) func() time.Time { return func() time.Time { return t } }

func TestLayout(t *testing.T) {
	c := hlc.New(0, fixed(noon))
	first, second := c.Tick(), c.Tick()
	if !first.Wall().Equal(noon) || first.Counter() != 0 || second.Counter() != 1 || second.Millis() != noon.UnixMilli() {
		t.Errorf("two ticks of one millisecond give %d/%d and %d/%d", first.Millis(), first.Counter(), second.Millis(), second.Counter())
	}
}

func TestCounterOverflowGoesOnInTheNextMillisecond(t *testing.T) {
	full := hlc.At(noon) | 0xffff
	next := hlc.New(full, fixed(noon)).Tick()
	if next.Millis() != noon.UnixMilli()+1 || next.Counter() != 0 {
		t.Errorf("after a full counter comes %d/%d", next.Millis()-noon.UnixMilli(), next.Counter())
	}
}

// Rig clocks of 1970 and before, and jumps back, never take the stamps back.
func TestClockThatIsWrong(t *testing.T) {
	now := noon
	c := hlc.New(0, func() time.Time { return now })
	last := c.Tick()
	for _, now = range []time.Time{noon.Add(-time.Hour), time.Unix(0, 0), time.Unix(-1000, 0), {}, time.Date(2099, 1, 1, 0, 0, 0, 0, time.UTC), noon} {
		next := c.Tick()
		if next <= last {
			t.Errorf("at %v the stamp went from %d to %d", now, last, next)
		}
		last = next
	}
}

// H2 and H3: the bound is ten minutes, to the millisecond.
func TestFold(t *testing.T) {
	for _, tc := range []struct {
		ahead   time.Duration
		suspect bool
	}{{-time.Hour, false}, {0, false}, {10 * time.Minute, false}, {10*time.Minute + time.Millisecond, true}, {24 * time.Hour, true}} {
		c := hlc.New(0, fixed(noon))
		remote := hlc.At(noon.Add(tc.ahead))
		if got := c.Fold(remote); got != tc.suspect {
			t.Errorf("%v ahead: suspect %v", tc.ahead, got)
		}
		next := c.Tick()
		if !tc.suspect && next <= remote {
			t.Errorf("%v ahead: the next stamp %d is not after %d", tc.ahead, next, remote)
		}
		if tc.suspect && next.Wall().After(noon.Add(time.Second)) {
			t.Errorf("%v ahead: a suspect stamp was folded in", tc.ahead)
		}
	}
}

// H1 over random histories, with restarts from the last stamp.
func TestNeverBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		now := noon
		clock := hlc.New(0, func() time.Time { return now })
		var last hlc.Time
		rt.Repeat(map[string]func(*rapid.T){
			"tick": func(rt *rapid.T) {
				next := clock.Tick()
				if next <= last {
					rt.Fatalf("%d after %d", next, last)
				}
				last = next
			},
			"after": func(rt *rapid.T) {
				floor := last + hlc.Time(rapid.Uint64Range(0, 1<<20).Draw(rt, "floor"))
				next := clock.After(floor)
				if next <= last || next <= floor {
					rt.Fatalf("%d after %d with floor %d", next, last, floor)
				}
				last = next
			},
			"wall": func(rt *rapid.T) {
				now = noon.Add(time.Duration(rapid.Int64Range(-1e6, 1e6).Draw(rt, "ms")) * time.Millisecond)
			},
			"fold": func(rt *rapid.T) {
				remote := hlc.At(now.Add(time.Duration(rapid.Int64Range(-1e6, 1e6).Draw(rt, "ms")) * time.Millisecond))
				if !clock.Fold(remote) {
					last = max(last, remote)
				}
			},
			"restart": func(*rapid.T) { clock = hlc.New(clock.Last(), func() time.Time { return now }) },
		})
	})
}

func TestConcurrentTicksDiffer(t *testing.T) {
	c := hlc.New(0, fixed(noon))
	var mu sync.Mutex
	seen := make(map[hlc.Time]bool)
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 500 {
				s := c.Tick()
				mu.Lock()
				if seen[s] {
					t.Errorf("stamp %d twice", s)
				}
				seen[s] = true
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	if len(seen) != 2000 {
		t.Errorf("%d stamps", len(seen))
	}
}

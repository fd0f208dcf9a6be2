package desk

import (
	"fmt"
	"sync"
	"time"

	"thudbook/web/page"
	"thudbook/web/present"
)

// leastJump is what the two clocks of a computer may differ by before it is told:
// small steps are the everyday work of what keeps a clock right.
const leastJump = 30 * time.Second

// jumps notices that this computer's clock was set forward: its time of day then
// went further than the clock that only counts. That one stands still while many
// computers sleep, so that sleep looks the same.
type jumps struct {
	mu    sync.Mutex
	began bool
	ahead time.Duration // of the time of day before the one that counts, when last looked at
	seen  []jump
}

// jump is one step, noticed at a time of day; back is negative.
type jump struct {
	noticed time.Time
	by      time.Duration
}

// look compares the clocks; counted is what the one that only counts shows.
func (j *jumps) look(wall time.Time, counted time.Duration) {
	j.mu.Lock()
	defer j.mu.Unlock()
	ahead := wall.Sub(time.Unix(0, 0)) - counted
	if by := ahead - j.ahead; j.began && by.Abs() >= leastJump && len(j.seen) < 100 {
		j.seen = append(j.seen, jump{noticed: wall, by: by})
	}
	j.began, j.ahead = true, ahead
}

// since is by how much the clock was set forward, in all, after a time of day;
// zero when it was not, or less than it was set back.
func (j *jumps) since(at time.Time) (by time.Duration) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, x := range j.seen {
		if !at.After(x.noticed.Add(-max(x.by, 0))) { // what began after the step shows a time after it
			by += x.by
		}
	}
	if by < leastJump {
		return 0
	}
	return by
}

// lookAtClock is done for each screen, so that a step is noticed soon.
func (d *Desk) lookAtClock(now time.Time) { d.jumped.look(now.Round(0), now.Sub(d.started)) }

// jumpNotice says that a time that is counted since an instant may be too long;
// what is "FG-01 left its chamber".
func (d *Desk) jumpNotice(since time.Time, what string) []page.Notice {
	if since.IsZero() {
		return nil
	}
	by := d.jumped.since(since)
	if by == 0 {
		return nil
	}
	return []page.Notice{{Level: page.Warn, Text: fmt.Sprintf("The clock of this computer was set forward by %s since %s, or the computer slept for so long: the time that is shown counts it too.", present.Span(by.Seconds()), what),
		Fix: "If the clock was set, the true time is shorter by as much; judge by it, and write it into the log."}}
}

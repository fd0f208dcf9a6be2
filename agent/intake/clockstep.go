package intake

import (
	"fmt"
	"sync"
	"time"

	"thudbook/sync/lab"
)

// leastStep is what the two clocks of a computer may differ by before it is told:
// small steps are the everyday work of what keeps a clock right.
const leastStep = 30 * time.Second

// stepTold is how long shots say that the clock was set: a day at the rig.
const stepTold = 12 * time.Hour

// mostSteps is how many steps are remembered, the newest.
const mostSteps = 100

// ClockSteps notices that this computer's clock was set: its time of day then
// went further, or less far, than the clock that only counts. Where that one
// stands still while the computer sleeps, sleep looks the same.
type ClockSteps struct {
	mu    sync.Mutex
	began bool
	ahead time.Duration // of the time of day before the one that counts, when last looked at
	seen  []clockStep
}

// clockStep is one step, noticed at a time of day; back is negative.
type clockStep struct {
	noticed time.Time
	counted time.Duration // what the clock that only counts showed then
	by      time.Duration
}

// Look compares the clocks; counted is what the one that only counts shows.
func (j *ClockSteps) Look(wall time.Time, counted time.Duration) {
	j.mu.Lock()
	defer j.mu.Unlock()
	ahead := wall.Sub(time.Unix(0, 0)) - counted
	if by := ahead - j.ahead; j.began && by.Abs() >= leastStep {
		if len(j.seen) == mostSteps {
			j.seen = j.seen[1:]
		}
		j.seen = append(j.seen, clockStep{noticed: wall, counted: counted, by: by})
	}
	j.began, j.ahead = true, ahead
}

// Since is by how much the clock was set forward, in all, after a time of day;
// zero when it was not, or less than it was set back.
func (j *ClockSteps) Since(at time.Time) (by time.Duration) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, x := range j.seen {
		if !at.After(x.noticed.Add(-max(x.by, 0))) { // what began after the step shows a time after it
			by += x.by
		}
	}
	if by < leastStep {
		return 0
	}
	return by
}

// standing says in words by how much the clock is off from what it was, counted,
// stepTold ago or when the agent started; "" when it is not, as after it was set
// forward and back.
func (j *ClockSteps) standing(counted time.Duration) string {
	j.mu.Lock()
	defer j.mu.Unlock()
	var by time.Duration
	var last time.Time
	for _, x := range j.seen {
		if counted-x.counted <= stepTold {
			by, last = by+x.by, x.noticed
		}
	}
	word := "forward"
	if by < 0 {
		word = "back"
	}
	if by.Abs() < leastStep {
		return ""
	}
	return fmt.Sprintf("the clock of the rig's computer was set %s by %s before this file came, which was noticed when it showed %s%s; the time of the shot, and times counted up to it, may be off by as much",
		word, by.Abs().Round(time.Second), last.UTC().Format("2006-01-02 15:04:05 UTC"), orSlept(by))
}

// orSlept is the other thing that a step forward can be.
func orSlept(by time.Duration) string {
	if by < 0 || countsSleep {
		return ""
	}
	return ", or the computer slept for so long"
}

// LookAtClock compares the clocks of this computer now.
func (in *Intake) LookAtClock() {
	in.clock.Look(in.opt.Now().Round(0), in.opt.Counted())
}

// ClockSteps are those that were noticed since the start.
func (in *Intake) ClockSteps() *ClockSteps { return &in.clock }

// stepped flags a shot that is taken in while the clock is not what it was.
func (in *Intake) stepped() []note {
	in.LookAtClock()
	if text := in.clock.standing(in.opt.Counted()); text != "" {
		return []note{{lab.FlagClockStepped, text}}
	}
	return nil
}

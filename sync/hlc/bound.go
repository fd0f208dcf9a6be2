package hlc

import "time"

// MaxLeap is how far the wall clock may lie beyond the last stamp and still be
// followed, as long as nobody else's clock bears it out. A rig may stand still
// for a year; a clock that lost its battery is off by decades.
const MaxLeap = 400 * 24 * time.Hour

// firstLeap is MaxLeap of a node that has no stamp yet.
const firstLeap = 40 * 365 * 24 * time.Hour

// dawn is before every record: a wall clock that shows less is wrong.
func dawn() time.Time { return time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC) }

// Doubtful tells whether a wall clock was wrong when a stamp was given by it: it
// shows a time before every record, or another than the stamp.
func Doubtful(stamp Time, wall time.Time) bool {
	return wall.Before(dawn()) || wall.Sub(stamp.Wall()).Abs() > MaxAhead
}

// known gives the latest time that is surely past, and how much later it may be.
func (c *Clock) known() (past time.Time, leap time.Duration) {
	if d := dawn(); c.last < At(d) {
		return d, firstLeap
	}
	return c.last.Wall(), MaxLeap
}

// theirs gives the time by the clock that others go by. It does not count where
// nothing was measured, or where that clock is the wrong one for sure.
func (c *Clock) theirs(now time.Time) (t time.Time, counts bool) {
	t = now.Add(-c.offset)
	return t, c.measured && !t.Before(dawn())
}

// own gives the stamp that the wall clock asks for. A clock known to be ahead
// counts as if it were set right; one that leaps beyond what can be, as if it
// stood still. A stamp that is ahead wins over what others decide after it, so a
// stamp rather lags; one that lags is carried on by those folded in.
func (c *Clock) own() Time {
	now := c.now()
	if t, counts := c.theirs(now); counts {
		if t.Before(now) {
			now = t
		}
		return At(now)
	}
	if past, leap := c.known(); now.After(past.Add(leap)) {
		return 0
	}
	return At(now)
}

// others gives the time that others go by, as far as it is known here. Where the
// wall clock shows a time that is past for sure it is the one that is wrong, and
// what was measured holds, unless it leaps itself; else a difference may be the
// others' fault, and only a wall clock that is ahead is put right.
func (c *Clock) others() time.Time {
	now := c.now()
	past, leap := c.known()
	most := past.Add(leap)
	t, counts := c.theirs(now)
	switch {
	case counts && t.Before(now):
		return t
	case counts && now.Before(past) && t.Before(most):
		return t
	case counts && now.Before(past), !counts && now.After(most): // nobody's word can be right
		return past
	}
	return now
}

package intake

import (
	"fmt"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
)

// Bounds of what is taken for the time of a shot. They catch a clock that was
// never set or that lost its battery, nothing finer.
const (
	firstYear  = 2000             // no shot that is taken in is older
	mostAhead  = 10 * time.Minute // that another clock may be before this computer's
	clockFrom  = 2025             // a computer whose year is earlier has not been set
	clockUntil = 2090             // nor one whose year is this or later
)

// window is what times are held against: the clock of this computer, as long
// as that can be right.
type window struct {
	now    time.Time
	trusty bool
}

func windowAt(now time.Time) window {
	y := now.UTC().Year()
	return window{now: now, trusty: y >= clockFrom && y < clockUntil}
}

// doubt says in words why no shot can have been fired at t; empty when one can.
// Times stand in the zone of the clock.
func (w window) doubt(t time.Time) string {
	shown := w.shown(t)
	switch y := t.UTC().Year(); {
	case y < firstYear:
		return fmt.Sprintf("%s is before the year %d", shown, firstYear)
	case y >= clockUntil:
		return fmt.Sprintf("%s is after the year %d", shown, clockUntil-1)
	case w.trusty && t.After(w.now.Add(mostAhead)):
		return fmt.Sprintf("%s lies ahead of this computer's clock, which shows %s", shown, w.shown(w.now))
	}
	return ""
}

func (w window) shown(t time.Time) string { return t.In(w.now.Location()).Format(time.RFC3339) }

// arrival is the time of arrival as a record can hold it.
func (w window) arrival() lab.Time {
	t := w.now
	if y := t.UTC().Year(); y < 1900 || y > 2200 {
		t = time.Date(min(max(y, 1901), 2199), 1, 1, 0, 0, 0, 0, time.UTC)
	}
	if at := lab.At(t); at != 0 {
		return at
	}
	return 1 // zero means that no time is known
}

// effective finds when the ram was fired, and how that is known: by the meta,
// else by the file's time, else by its arrival. A time that cannot be right is
// passed over, with a note; it stays in the record as it came.
func (in *Intake) effective(s *Submission, m *lab.Meta) (at lab.Time, from string, notes []note) {
	w := windowAt(in.opt.Now())
	at, from = w.arrival(), lab.FromReceived
	used := "the time of arrival is used"
	if !s.ModTime.IsZero() {
		if why := w.doubt(s.ModTime); why != "" {
			notes = append(notes, note{lab.FlagFileTime, "the file's time cannot be that of the shot: " + why})
		} else {
			at, from, used = lab.At(s.ModTime), lab.FromFileTime, "the file's time is used"
		}
	}
	if !m.FiredAt.IsZero() {
		if why := w.doubt(m.FiredAt.Time()); why != "" {
			notes = append(notes, note{lab.FlagFiredAt, "fired_at cannot be the time of the shot: " + why + "; " + used})
		} else {
			at, from = m.FiredAt, lab.FromMeta
		}
	}
	if !w.trusty {
		notes = append(notes, note{lab.FlagClock, "the clock of the rig's computer showed " + w.shown(w.now) + " when the file was taken in, which cannot be right"})
	}
	return at, from, notes
}

// fileTime is a file's time as a record can hold it: evidence, right or wrong.
func fileTime(t time.Time) lab.Time {
	if y := t.UTC().Year(); t.IsZero() || y < 1900 || y > 2200 {
		return 0
	}
	return lab.At(t)
}

// checkFiredAt refuses a time that a person typed and that no shot can have.
func (in *Intake) checkFiredAt(t lab.Time) error {
	if t.IsZero() {
		return nil
	}
	why := windowAt(in.opt.Now()).doubt(t.Time())
	if why == "" {
		return nil
	}
	e := problem.New(problem.Invalid, "The shot cannot have been fired then: "+why+".", "Mend the time; if it is right, set this computer's clock.")
	e.Where = "fired_at"
	return e
}

package present

import (
	"fmt"
	"strings"
	"time"

	"thudbook/web/page"
)

// Span is a time in seconds, in words.
func Span(s float64) string {
	n := int64(s + 0.5)
	switch h, m, s := n/3600, n/60%60, n%60; {
	case h > 0:
		return fmt.Sprintf("%d h %d min", h, m)
	case m > 0 && s == 0:
		return fmt.Sprintf("%d min", m)
	case m > 0:
		return fmt.Sprintf("%d min %d s", m, s)
	default:
		return fmt.Sprintf("%d s", s)
	}
}

// OutLimit says how much of the time out of the chamber is left; since is zero
// when it is not out. needed says that the hit wants a conditioned specimen.
func OutLimit(mostS float64, since, now time.Time, needed bool) page.TimeLimit {
	if mostS <= 0 {
		return page.TimeLimit{}
	}
	if since.IsZero() {
		l := page.TimeLimit{State: page.Status{Word: "at most " + Span(mostS)}}
		if needed {
			l.State.Word += "; press it when the specimen leaves the chamber"
		}
		return l
	}
	return limit(mostS, since, now, page.TimeLimit{State: page.Status{Level: page.OK}, Before: "{} left of " + Span(mostS),
		AfterLevel: page.Bad, After: "the " + Span(mostS) + " are exceeded"})
}

// RestLimit says how much rest a specimen still needs; since is its last hit.
func RestLimit(leastS float64, since, now time.Time) page.TimeLimit {
	if leastS <= 0 || since.IsZero() {
		return page.TimeLimit{}
	}
	return limit(leastS, since, now, page.TimeLimit{State: page.Status{Level: page.Warn}, Before: "wait {} more, of " + Span(leastS),
		AfterLevel: page.OK, After: "the " + Span(leastS) + " of rest are over"})
}

func limit(s float64, since, now time.Time, l page.TimeLimit) page.TimeLimit {
	if since.After(now) { // the clock was set back
		return page.TimeLimit{State: page.Status{Level: page.Warn, Word: "not known: the clock was set back since; the limit is " + Span(s)}}
	}
	l.Until = since.Add(time.Duration(s * float64(time.Second)))
	if left := l.Until.Sub(now).Seconds(); left > 0 {
		l.State.Word = strings.ReplaceAll(l.Before, "{}", Span(left))
	} else {
		l.State = page.Status{Level: l.AfterLevel, Word: l.After}
	}
	return l
}

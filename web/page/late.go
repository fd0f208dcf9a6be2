package page

import (
	"net/url"
	"time"
)

// PathLate lists what was entered after the fact.
const PathLate = "/late"

// LatePath is the screen of one late entry.
func LatePath(kind, id string) string { return PathLate + "/" + kind + "/" + url.PathEscape(id) }

// LateFacts lists mountings, services and certificates that were entered more
// than a day after they held.
type LateFacts struct {
	Frame
	Days int // looked back
	Rows []LateRow
	// Touchless counts entries that touch no stroke, as those of a register that
	// is set up; they are not listed.
	Touchless int
}

func (LateFacts) screen() string { return "late-facts" }

// LateRow is one of them.
type LateRow struct {
	Lab, Item, What string
	At, Recorded    time.Time
	Late            string // as "12 days late"
	By              string
	Strokes         string // that it touches
	State           Status // of their results
	Href            string
}

// LateFact shows the strokes that a late entry touches.
type LateFact struct {
	Frame
	Row      LateRow
	ItemHref string
	Means    string // what the entry changes for them
	Shots    []ShotRow
	Cut      string // said when not all are shown
	CSV      string
	Progress *Progress
	Failed   string
	Again    *Form // no fields; nil: nothing to score again, or the caller may not
	Stop     *Form
}

func (LateFact) screen() string { return "late-fact" }

package home

import (
	"fmt"
	"strings"

	"thudbook/sync/care"
	"thudbook/sync/problem"
)

// Mark says how a line of an examination is meant.
type Mark string

// The marks.
const (
	Good Mark = "ok"
	Note Mark = "note" // may be as it should be; a person knows
	Bad  Mark = "BAD"
)

// Line is one thing that was looked at.
type Line struct {
	Mark  Mark       `json:"mark"`
	Class care.Class `json:"class"`
	Text  string     `json:"text"`
	Fix   string     `json:"fix,omitempty"`
}

// Examined is what a short look at a data folder gives.
type Examined struct {
	Lines []Line `json:"lines"`
}

// Class gives the worst class of the lines.
func (e *Examined) Class() care.Class {
	worst := care.OK
	for _, l := range e.Lines {
		worst = max(worst, l.Class)
	}
	return worst
}

// Trouble tells whether something is bad.
func (e *Examined) Trouble() bool {
	for _, l := range e.Lines {
		if l.Mark == Bad {
			return true
		}
	}
	return false
}

// String gives a line for each thing, the next step below it.
func (e *Examined) String() string {
	var b strings.Builder
	for _, l := range e.Lines {
		fmt.Fprintf(&b, "%-4s  %s\n", l.Mark, l.Text)
		if l.Fix != "" {
			fmt.Fprintf(&b, "      -> %s\n", l.Fix)
		}
	}
	return b.String()
}

func (e *Examined) good(format string, a ...any) {
	e.Lines = append(e.Lines, Line{Mark: Good, Text: fmt.Sprintf(format, a...)})
}

func (e *Examined) note(text, fix string) {
	e.Lines = append(e.Lines, Line{Mark: Note, Text: text, Fix: fix})
}

func (e *Examined) bad(c care.Class, text, fix string) {
	e.Lines = append(e.Lines, Line{Mark: Bad, Class: c, Text: text, Fix: fix})
}

// take adds a problem as it stands.
func (e *Examined) take(err error) {
	l := Line{Mark: Bad, Text: err.Error()}
	if p, ok := problem.As(err); ok {
		l.Text, l.Fix = p.What, p.Fix
		if p.Where != "" {
			l.Text += " (" + p.Where + ")"
		}
	}
	switch problem.Of(err) {
	case problem.Damaged:
		l.Class = care.Damaged
	case problem.Forked:
		l.Class = care.Forked
	}
	e.Lines = append(e.Lines, l)
}
